-- What evidence was entered on, as the shop names it.
ALTER TABLE evidence ADD COLUMN device text CHECK (device <> '');
