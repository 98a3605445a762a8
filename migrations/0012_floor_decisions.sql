-- Decisions of the floor: none without a reason in words, waivers with a scope and an end, limits by the manufacturer.

ALTER TABLE waiver ADD CONSTRAINT waiver_reason_in_words CHECK (reason ~ '\S');
ALTER TABLE redaction ADD CONSTRAINT redaction_reason_in_words CHECK (reason ~ '\S');
ALTER TABLE absence ADD CONSTRAINT absence_reason_in_words CHECK (reason ~ '\S');
ALTER TABLE hold ADD CONSTRAINT hold_reason_in_words CHECK (reason ~ '\S');
ALTER TABLE repair_order ADD CONSTRAINT release_reason_in_words
    CHECK (release ->> 'reason' IS NULL OR release ->> 'reason' ~ '\S');
ALTER TABLE question ADD CONSTRAINT question_waived_with_a_reason
    CHECK (state <> 'waived' OR coalesce(answer ->> 'waive_because', '') ~ '\S');
-- A decision is kept in the journal alone.
ALTER TABLE journal_entry ADD CONSTRAINT decision_reason_in_words CHECK (
    CASE WHEN kind = 'task.decided'
         THEN coalesce(convert_from(bytes, 'UTF8')::jsonb #>> '{data,reason}', '') ~ '\S' ELSE true END);

-- A waiver leaves out the task, or one of its preconditions; it may end by itself.
ALTER TABLE waiver
    ADD COLUMN precondition text,
    ADD COLUMN expires_at timestamptz,
    ADD COLUMN revoked_because text CHECK (revoked_because ~ '\S'),
    ADD CHECK (expires_at > given_at);
DROP INDEX waiver_open;
CREATE UNIQUE INDEX waiver_open ON waiver (shop, task, coalesce(precondition, '')) WHERE revoked_at IS NULL;
CREATE INDEX waiver_expiry ON waiver (shop, expires_at) WHERE revoked_at IS NULL AND expires_at IS NOT NULL;

CREATE OR REPLACE FUNCTION guard_waiver() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.task, NEW.precondition, NEW.reason, NEW.customer_told, NEW.restriction, NEW.people, NEW.given_by, NEW.given_at,
        NEW.expires_at)
       IS DISTINCT FROM (OLD.task, OLD.precondition, OLD.reason, OLD.customer_told, OLD.restriction, OLD.people,
        OLD.given_by, OLD.given_at, OLD.expires_at)
       OR (OLD.approved_by IS NOT NULL AND (NEW.approved_by, NEW.approved_at)
           IS DISTINCT FROM (OLD.approved_by, OLD.approved_at))
       OR (OLD.revoked_at IS NOT NULL AND NEW IS DISTINCT FROM OLD) THEN
        RAISE EXCEPTION 'waiver %: what was decided does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;

-- A waiver of one precondition does not waive the task.
CREATE FUNCTION guard_waived() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.state = 'waived' AND OLD.state <> 'waived' AND NOT EXISTS (
        SELECT FROM waiver w WHERE w.shop = NEW.shop AND w.task = NEW.id AND w.revoked_at IS NULL
            AND w.precondition IS NULL AND (w.people = 1 OR w.approved_by IS NOT NULL)) THEN
        RAISE EXCEPTION 'task %: it is waived by a waiver of the whole task', OLD.id
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard_waived BEFORE UPDATE ON task FOR EACH ROW EXECUTE FUNCTION guard_waived();

-- The manufacturer's figure in place of the catalogue's, for one precondition or proof of one task.
CREATE TABLE limit_override (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    task uuid NOT NULL,
    precondition text NOT NULL,
    bound text NOT NULL CHECK (bound IN ('at_least', 'at_most')),
    value text NOT NULL,
    unit text NOT NULL,
    document text NOT NULL CHECK (document ~ '\S'),
    page text NOT NULL CHECK (page ~ '\S'),
    read_by text NOT NULL,
    people integer NOT NULL CHECK (people IN (1, 2)),
    given_by text NOT NULL,
    given_at timestamptz NOT NULL,
    approved_by text,
    approved_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, task) REFERENCES task,
    CHECK ((approved_by IS NULL) = (approved_at IS NULL)),
    CHECK (approved_by IS NULL OR (approved_by <> given_by AND approved_by <> read_by))
);
CREATE INDEX limit_override_task ON limit_override (shop, task);
ALTER TABLE limit_override ENABLE ROW LEVEL SECURITY;
ALTER TABLE limit_override FORCE ROW LEVEL SECURITY;
CREATE POLICY served ON limit_override USING (shop = ANY (served_shops()));
GRANT SELECT, INSERT ON limit_override TO bayproof_service;
GRANT UPDATE (approved_by, approved_at) ON limit_override TO bayproof_service;

CREATE FUNCTION guard_limit_override() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.approved_by IS NOT NULL THEN
        RAISE EXCEPTION 'limit %: what was approved does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON limit_override FOR EACH ROW EXECUTE FUNCTION guard_limit_override();
