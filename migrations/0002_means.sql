-- The shop's means: bays, technicians, equipment, shifts, and when they are not there.

CREATE TABLE bay (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    name text NOT NULL CHECK (name <> ''),
    zone text NOT NULL DEFAULT '',
    capabilities text[] NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    retired boolean NOT NULL DEFAULT false,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, name)
);

CREATE TABLE technician (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    name text NOT NULL CHECK (name <> ''),
    salt bytea NOT NULL CHECK (length(salt) >= 16),
    skills text[] NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    retired boolean NOT NULL DEFAULT false,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, name)
);

CREATE TABLE equipment (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    name text NOT NULL CHECK (name <> ''),
    kind text NOT NULL,
    calibrated_until timestamptz,
    version bigint NOT NULL DEFAULT 1,
    retired boolean NOT NULL DEFAULT false,
    PRIMARY KEY (shop, id),
    UNIQUE (shop, name)
);

-- A technician's working time: a first occurrence in local time, its length, and an RRULE (RFC 5545) that repeats it.
CREATE TABLE shift (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    technician uuid NOT NULL,
    starts_local timestamp NOT NULL,
    minutes integer NOT NULL CHECK (minutes BETWEEN 0 AND 1440),
    rrule text,
    except_dates date[] NOT NULL DEFAULT '{}',
    version bigint NOT NULL DEFAULT 1,
    retired boolean NOT NULL DEFAULT false,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, technician) REFERENCES technician
);

-- A technician is away, a bay or a piece of equipment is out of service; the end may be unknown.
CREATE TABLE absence (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    technician uuid,
    bay uuid,
    equipment uuid,
    from_at timestamptz NOT NULL,
    until_at timestamptz CHECK (until_at > from_at),
    reason text NOT NULL,
    version bigint NOT NULL DEFAULT 1,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, technician) REFERENCES technician,
    FOREIGN KEY (shop, bay) REFERENCES bay,
    FOREIGN KEY (shop, equipment) REFERENCES equipment,
    CHECK (num_nonnulls(technician, bay, equipment) = 1)
);
