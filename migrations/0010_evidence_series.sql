-- Judging a task costs the same however long it goes on: what its readings are of is told beside them, so that only the
-- newest stretch of each signal is read. Rows without it (frames of another sort, words, files) are few and all read.
ALTER TABLE evidence ADD COLUMN series text;
DROP INDEX evidence_attempt;
CREATE INDEX evidence_series ON evidence (shop, task, attempt, series, taken_at DESC);

-- A file may be replaced by a redacted one: its bytes go, its digest and the journal stay.
CREATE TABLE redaction (
    shop uuid NOT NULL REFERENCES shop,
    evidence uuid NOT NULL,
    media_type text NOT NULL,
    sha256 bytea NOT NULL CHECK (length(sha256) = 32),
    bytes bytea NOT NULL,
    reason text NOT NULL CHECK (reason <> ''),
    by_person text NOT NULL,
    at timestamptz NOT NULL,
    PRIMARY KEY (shop, evidence),
    FOREIGN KEY (shop, evidence) REFERENCES attachment
);
ALTER TABLE redaction ENABLE ROW LEVEL SECURITY;
ALTER TABLE redaction FORCE ROW LEVEL SECURITY;
CREATE POLICY served ON redaction USING (shop = ANY (served_shops()));
GRANT SELECT, INSERT ON redaction TO bayproof_service;

CREATE FUNCTION guard_attachment() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.bytes IS NOT NULL OR NOT EXISTS (
        SELECT FROM redaction WHERE shop = NEW.shop AND evidence = NEW.evidence) THEN
        RAISE EXCEPTION 'attachment %: its bytes only go, and only where a redacted file is in their place', OLD.evidence
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON attachment FOR EACH ROW EXECUTE FUNCTION guard_attachment();
