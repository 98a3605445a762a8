-- The journal: canonical bytes of everything that happened, and the tree over them.

CREATE TABLE journal_entry (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    order_id uuid,
    order_seq bigint,
    kind text NOT NULL,
    at timestamptz NOT NULL,
    bytes bytea NOT NULL,
    names jsonb NOT NULL,
    position bigint CHECK (position >= 0),
    PRIMARY KEY (shop, id),
    UNIQUE (shop, position),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    CHECK ((order_id IS NULL) = (order_seq IS NULL))
);
CREATE UNIQUE INDEX journal_entry_order ON journal_entry (shop, order_id, order_seq) WHERE order_id IS NOT NULL;
CREATE INDEX journal_entry_unsealed ON journal_entry (shop, at, id) WHERE position IS NULL;

-- Hashes of complete subtrees, by level and index.
CREATE TABLE journal_node (
    shop uuid NOT NULL REFERENCES shop,
    level integer NOT NULL,
    index bigint NOT NULL,
    hash bytea NOT NULL CHECK (length(hash) = 32),
    PRIMARY KEY (shop, level, index)
);

CREATE TABLE checkpoint (
    shop uuid NOT NULL REFERENCES shop,
    size bigint NOT NULL CHECK (size >= 1),
    root bytea NOT NULL CHECK (length(root) = 32),
    note text NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (shop, size)
);
