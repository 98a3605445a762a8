-- The keeper's shelf: drafts that are changed and laid aside, where a shop's own words come from, why a question is
-- asked.

ALTER TABLE catalogue
    ADD COLUMN revision bigint NOT NULL DEFAULT 1,
    ADD COLUMN procedures integer NOT NULL DEFAULT 0,
    ADD COLUMN rules integer NOT NULL DEFAULT 0,
    -- The text as it was uploaded, where that was YAML: with its comments.
    ADD COLUMN yaml text;
-- Row security holds the owner back too; here it must see the catalogues of every shop.
ALTER TABLE catalogue NO FORCE ROW LEVEL SECURITY;
UPDATE catalogue SET procedures = jsonb_array_length(document::jsonb -> 'procedures'),
    rules = jsonb_array_length(document::jsonb -> 'rules');
ALTER TABLE catalogue FORCE ROW LEVEL SECURITY;

-- A document changes only while it is a draft, and what was once in force is never in force again.
CREATE FUNCTION guard_catalogue() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.state <> 'draft' AND (NEW.document, NEW.digest, NEW.yaml, NEW.in_force_at)
       IS DISTINCT FROM (OLD.document, OLD.digest, OLD.yaml, OLD.in_force_at) THEN
        RAISE EXCEPTION 'catalogue %: only a draft changes', OLD.version USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN
       (('draft', 'in_force'), ('draft', 'retired'), ('in_force', 'retired')) THEN
        RAISE EXCEPTION 'catalogue %: no way from % to %', OLD.version, OLD.state, NEW.state
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON catalogue FOR EACH ROW EXECUTE FUNCTION guard_catalogue();

-- The order whose confirmed answer taught the phrase; none: a keeper wrote it.
ALTER TABLE labour_word
    ADD COLUMN learnt_from uuid,
    ADD FOREIGN KEY (shop, learnt_from) REFERENCES repair_order;

ALTER TABLE question ADD COLUMN because jsonb NOT NULL DEFAULT '[]';
