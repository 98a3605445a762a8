-- A journal entry is written once. What names a column that must not change is refused as such, so that giving an entry
-- its position need not unpack and compare its bytes.
DROP TRIGGER guard ON journal_entry;
CREATE TRIGGER guard BEFORE UPDATE OF shop, id, order_id, order_seq, kind, at, bytes, names ON journal_entry
    FOR EACH ROW EXECUTE FUNCTION guard_journal();
CREATE TRIGGER guard_position BEFORE UPDATE OF position ON journal_entry
    FOR EACH ROW WHEN (OLD.position IS NOT NULL OR NEW.position IS NULL) EXECUTE FUNCTION guard_journal();

CREATE OR REPLACE FUNCTION guard_journal() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'journal entry %: it is written once', OLD.id USING ERRCODE = 'integrity_constraint_violation';
END $$;
