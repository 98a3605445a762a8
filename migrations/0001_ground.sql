-- The ground that everything stands on: the one clock, the shops, and who may see what.
--
-- Two roles exist before the first migration, made by whoever makes the cluster: `bayproof_owner`, which runs this,
-- and `bayproof_service`, which the service works as. Every key begins with the shop; row security compares it
-- with the shops that the transaction named in `app.shops`, and shows nothing when none are named.

-- One row in a demo or test database moves the clock; only the owner can write it.
CREATE TABLE service_clock (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    real_anchor timestamptz NOT NULL,
    shown_anchor timestamptz NOT NULL,
    rate double precision NOT NULL CHECK (rate > 0)
);
GRANT SELECT ON service_clock TO bayproof_service;

-- The one clock of the service, in microseconds.
CREATE FUNCTION service_now() RETURNS timestamptz LANGUAGE sql VOLATILE AS $$
    SELECT coalesce(
        (SELECT shown_anchor + (clock_timestamp() - real_anchor) * rate FROM service_clock),
        clock_timestamp())
$$;

-- The shops that this transaction serves.
CREATE FUNCTION served_shops() RETURNS uuid[] LANGUAGE sql STABLE AS $$
    SELECT nullif(current_setting('app.shops', true), '')::uuid[]
$$;

CREATE TABLE shop (
    id uuid PRIMARY KEY,
    name text NOT NULL UNIQUE CHECK (name <> ''),
    time_zone text NOT NULL,
    created_at timestamptz NOT NULL
);
ALTER TABLE shop ENABLE ROW LEVEL SECURITY;
CREATE POLICY served ON shop USING (id = ANY (served_shops()));
GRANT SELECT, INSERT ON shop TO bayproof_service;

-- Background duties go through every shop, but learn nothing but its id; both run as the owner.
CREATE FUNCTION every_shop() RETURNS SETOF uuid LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public AS $$
    SELECT id FROM shop ORDER BY id
$$;
CREATE FUNCTION shop_named(wanted text) RETURNS uuid LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public AS $$
    SELECT id FROM shop WHERE name = wanted
$$;

-- A duty is done by one process at a time, for as long as it holds the row.
CREATE TABLE duty (
    shop uuid NOT NULL REFERENCES shop,
    name text NOT NULL,
    holder uuid NOT NULL,
    held_until timestamptz NOT NULL,
    PRIMARY KEY (shop, name)
);

CREATE TABLE catalogue (
    shop uuid NOT NULL REFERENCES shop,
    version text NOT NULL CHECK (version <> ''),
    state text NOT NULL CHECK (state IN ('draft', 'in_force', 'retired')),
    document text NOT NULL,
    digest bytea NOT NULL CHECK (length(digest) = 32),
    created_at timestamptz NOT NULL,
    in_force_at timestamptz,
    PRIMARY KEY (shop, version)
);
CREATE UNIQUE INDEX catalogue_one_in_force ON catalogue (shop) WHERE state = 'in_force';

-- The shop's own labour codes and phrases.
CREATE TABLE labour_word (
    shop uuid NOT NULL REFERENCES shop,
    phrase text NOT NULL CHECK (phrase <> ''),
    operations jsonb NOT NULL,
    PRIMARY KEY (shop, phrase)
);

-- Answers to requests that carried an idempotency key.
CREATE TABLE stored_answer (
    shop uuid NOT NULL REFERENCES shop,
    operation text NOT NULL,
    key text NOT NULL CHECK (length(key) BETWEEN 1 AND 255),
    fingerprint bytea NOT NULL CHECK (length(fingerprint) = 32),
    answer text NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (shop, operation, key)
);
