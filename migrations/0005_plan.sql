-- The plan in force, and what the dispatcher fixed.

CREATE TABLE plan (
    shop uuid NOT NULL REFERENCES shop,
    version bigint NOT NULL CHECK (version >= 1),
    made_at timestamptz NOT NULL,
    through bigint NOT NULL,
    cost jsonb NOT NULL,
    unplanned jsonb NOT NULL,
    moved jsonb NOT NULL,
    PRIMARY KEY (shop, version)
);

CREATE TABLE plan_item (
    shop uuid NOT NULL REFERENCES shop,
    order_id uuid NOT NULL,
    node text NOT NULL,
    task uuid,
    line integer,
    bay uuid,
    technicians uuid[] NOT NULL,
    equipment jsonb NOT NULL,
    starts_at timestamptz NOT NULL,
    ends_at timestamptz NOT NULL,
    PRIMARY KEY (shop, order_id, node),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    FOREIGN KEY (shop, task) REFERENCES task,
    CHECK (num_nonnulls(task, line) = 1 AND ends_at >= starts_at)
) WITH (fillfactor = 70);
CREATE INDEX plan_item_task ON plan_item (shop, task) WHERE task IS NOT NULL;

CREATE TABLE pin (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    task uuid NOT NULL,
    bay uuid,
    technician uuid,
    starts_at timestamptz,
    given_by text NOT NULL,
    given_at timestamptz NOT NULL,
    removed_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, task) REFERENCES task,
    FOREIGN KEY (shop, bay) REFERENCES bay,
    FOREIGN KEY (shop, technician) REFERENCES technician,
    CHECK (num_nonnulls(bay, technician, starts_at) >= 1)
);
CREATE UNIQUE INDEX pin_open ON pin (shop, task) WHERE removed_at IS NULL;
