-- A hand-typed list of trouble codes is evidence of its own kind.
ALTER TABLE evidence DROP CONSTRAINT evidence_kind_check;
ALTER TABLE evidence ADD CONSTRAINT evidence_kind_check
    CHECK (kind IN ('reading', 'frame', 'trouble_codes', 'attestation', 'attachment'));
