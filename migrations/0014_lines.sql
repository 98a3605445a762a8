-- Lines that wait for something outside the shop's work, and lines that another business works; a mark by which a reader of
-- the shop's own words sees that they changed.

ALTER TABLE line ADD CONSTRAINT line_on_hold CHECK (on_hold IN ('parts', 'approval', 'customer')) NOT VALID;
ALTER TABLE line ADD COLUMN sublet jsonb;

-- The document of the business that did a line's work, with the word of the person who looked at both.
CREATE TABLE sublet_document (
    shop uuid NOT NULL REFERENCES shop,
    order_id uuid NOT NULL,
    line integer NOT NULL,
    name text NOT NULL CHECK (name <> ''),
    media_type text NOT NULL,
    sha256 bytea NOT NULL CHECK (length(sha256) = 32),
    bytes bytea NOT NULL,
    attested_by text NOT NULL,
    at timestamptz NOT NULL,
    PRIMARY KEY (shop, order_id, line),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order
);
ALTER TABLE sublet_document ENABLE ROW LEVEL SECURITY;
ALTER TABLE sublet_document FORCE ROW LEVEL SECURITY;
CREATE POLICY served ON sublet_document USING (shop = ANY (served_shops()));
GRANT SELECT, INSERT ON sublet_document TO bayproof_service;
GRANT UPDATE (order_id) ON sublet_document TO bayproof_service;

-- Another mark with every change, whoever makes it; one that was taken back never comes again.
ALTER TABLE shop ADD COLUMN words_mark uuid NOT NULL DEFAULT gen_random_uuid();
GRANT UPDATE (words_mark) ON shop TO bayproof_service;
CREATE FUNCTION mark_words() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE shop SET words_mark = gen_random_uuid() WHERE id IN (SELECT changed.shop FROM changed);
    RETURN NULL;
END $$;
CREATE TRIGGER mark_added AFTER INSERT ON labour_word REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION mark_words();
CREATE TRIGGER mark_changed AFTER UPDATE ON labour_word REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION mark_words();
CREATE TRIGGER mark_removed AFTER DELETE ON labour_word REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION mark_words();
