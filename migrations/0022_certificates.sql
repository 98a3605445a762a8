-- What certifies a technician's skills: document, issuer, and how long it counts.
ALTER TABLE technician ADD COLUMN certificates jsonb NOT NULL DEFAULT '[]'
    CHECK (jsonb_typeof(certificates) = 'array');

-- Skills that count at a moment: those that nothing certifies, which the shop answers for, and those of which one
-- certificate is still valid.
CREATE FUNCTION counting_skills(skills text[], certificates jsonb, moment timestamptz) RETURNS text[]
    LANGUAGE sql STABLE
    RETURN ARRAY(
        SELECT skill FROM unnest(skills) WITH ORDINALITY AS one (skill, place)
        WHERE NOT EXISTS (SELECT FROM jsonb_array_elements(certificates) AS c WHERE c ->> 'skill' = skill)
           OR EXISTS (SELECT FROM jsonb_array_elements(certificates) AS c
                      WHERE c ->> 'skill' = skill
                        AND (c ->> 'valid_until' IS NULL OR (c ->> 'valid_until')::timestamptz > moment))
        ORDER BY place);
