-- Whoever takes a task over reads its cautions anew: one person's acknowledgement stands beside another's.
ALTER TABLE acknowledgement DROP CONSTRAINT acknowledgement_pkey;
ALTER TABLE acknowledgement ADD PRIMARY KEY (shop, task, attempt, caution, by_person);
