-- Vehicles, repair orders, lines and questions.

CREATE TABLE vehicle (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    vin text,
    identity text,
    plate text,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (shop, id)
);
CREATE UNIQUE INDEX vehicle_vin ON vehicle (shop, vin) WHERE vin IS NOT NULL;
CREATE UNIQUE INDEX vehicle_identity ON vehicle (shop, identity) WHERE vin IS NULL AND identity IS NOT NULL;

CREATE TABLE repair_order (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    number text NOT NULL CHECK (number <> ''),
    vehicle uuid NOT NULL,
    state text NOT NULL CHECK (state IN ('open', 'released', 'closed', 'cancelled')),
    version bigint NOT NULL DEFAULT 1,
    next_seq bigint NOT NULL DEFAULT 1,
    catalogue_version text NOT NULL,
    intake_digest bytea NOT NULL CHECK (length(intake_digest) = 32),
    facts jsonb NOT NULL,
    trouble_codes text[] NOT NULL,
    complaints text[] NOT NULL,
    observations jsonb NOT NULL DEFAULT '[]',
    findings jsonb NOT NULL DEFAULT '[]',
    follows uuid,
    odometer_in integer CHECK (odometer_in >= 0),
    odometer_out integer CHECK (odometer_out >= 0),
    arrives_at timestamptz,
    promised_at timestamptz,
    weight integer NOT NULL DEFAULT 1 CHECK (weight BETWEEN 1 AND 100),
    created_at timestamptz NOT NULL,
    released_at timestamptz,
    release jsonb,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, number),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    FOREIGN KEY (shop, follows) REFERENCES repair_order,
    FOREIGN KEY (shop, catalogue_version) REFERENCES catalogue (shop, version),
    CHECK ((released_at IS NOT NULL) = (state IN ('released', 'closed')))
) WITH (fillfactor = 80);
CREATE INDEX repair_order_open ON repair_order (shop, id) WHERE state IN ('open', 'released');
CREATE INDEX repair_order_vehicle ON repair_order (shop, vehicle, id);

CREATE TABLE line (
    shop uuid NOT NULL REFERENCES shop,
    order_id uuid NOT NULL,
    line integer NOT NULL CHECK (line BETWEEN 1 AND 9999),
    state text NOT NULL CHECK (state IN ('open', 'started', 'paused', 'finished', 'not_done', 'removed')),
    authorisation text NOT NULL CHECK (authorisation IN ('pending', 'approved', 'declined')),
    text text NOT NULL DEFAULT '',
    labour_code text,
    operations jsonb NOT NULL DEFAULT '[]',
    reading jsonb NOT NULL,
    minutes integer CHECK (minutes BETWEEN 0 AND 10000),
    bay text[],
    skills text[],
    parts_expected_at timestamptz,
    on_hold text,
    worked_in uuid,
    worked_by uuid,
    started_at timestamptz,
    finished_at timestamptz,
    PRIMARY KEY (shop, order_id, line),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    FOREIGN KEY (shop, worked_in) REFERENCES bay,
    FOREIGN KEY (shop, worked_by) REFERENCES technician
) WITH (fillfactor = 80);

CREATE TABLE question (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    order_id uuid NOT NULL,
    asks text NOT NULL,
    text text NOT NULL,
    choices jsonb NOT NULL,
    decides text[] NOT NULL,
    state text NOT NULL CHECK (state IN ('open', 'answered', 'waived', 'dropped')),
    answer jsonb,
    answered_by text,
    answered_at timestamptz,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    CHECK ((answered_at IS NOT NULL) = (state IN ('answered', 'waived')))
);
CREATE UNIQUE INDEX question_open ON question (shop, order_id, asks) WHERE state = 'open';
CREATE INDEX question_order ON question (shop, order_id);
