-- Tasks, their order, attempts, evidence, and what stands open on a vehicle.

-- The one table of transitions; equal to domain::lifecycle::TRANSITIONS, which a test checks.
CREATE TABLE transition (
    from_state text NOT NULL,
    event text NOT NULL,
    to_state text NOT NULL,
    PRIMARY KEY (from_state, event)
);
INSERT INTO transition (from_state, event, to_state) VALUES
    ('waiting', 'unblock', 'ready'),
    ('waiting', 'withdraw', 'withdrawn'),
    ('waiting', 'waive', 'waived'),
    ('ready', 'block', 'waiting'),
    ('ready', 'take', 'taken'),
    ('ready', 'withdraw', 'withdrawn'),
    ('ready', 'waive', 'waived'),
    ('taken', 'renew', 'taken'),
    ('taken', 'hand_over', 'taken'),
    ('taken', 'return', 'ready'),
    ('taken', 'lapse', 'ready'),
    ('taken', 'block', 'waiting'),
    ('taken', 'start', 'running'),
    ('taken', 'pass', 'passed'),
    ('taken', 'withdraw', 'withdrawn'),
    ('taken', 'waive', 'waived'),
    ('running', 'renew', 'running'),
    ('running', 'hand_over', 'running'),
    ('running', 'pass', 'passed'),
    ('running', 'fail', 'failed'),
    ('running', 'interrupt', 'held'),
    ('running', 'lapse', 'held'),
    ('held', 'resume', 'running'),
    ('held', 'retry', 'ready'),
    ('held', 'restart_chain', 'waiting'),
    ('held', 'give_up', 'failed'),
    ('failed', 'retry', 'ready'),
    ('failed', 'restart_chain', 'waiting'),
    ('failed', 'withdraw', 'withdrawn'),
    ('failed', 'waive', 'waived'),
    ('passed', 'disturb', 'disturbed'),
    ('waived', 'revoke_waiver', 'waiting');
GRANT SELECT ON transition TO bayproof_service;

CREATE TABLE task (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    order_id uuid NOT NULL,
    vehicle uuid NOT NULL,
    procedure text NOT NULL,
    place text NOT NULL DEFAULT '',
    definition jsonb NOT NULL,
    because jsonb NOT NULL,
    lines integer[] NOT NULL,
    state text NOT NULL CHECK (state IN
        ('waiting', 'ready', 'taken', 'running', 'held', 'passed', 'failed', 'disturbed', 'withdrawn', 'waived')),
    fence bigint NOT NULL DEFAULT 0,
    version bigint NOT NULL DEFAULT 1,
    attempt integer NOT NULL DEFAULT 0,
    technician uuid,
    bay uuid,
    lease_until timestamptz,
    started_at timestamptz,
    ended_at timestamptz,
    settled_at timestamptz,
    no_longer_needed boolean NOT NULL DEFAULT false,
    replaces uuid,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    FOREIGN KEY (shop, technician) REFERENCES technician,
    FOREIGN KEY (shop, bay) REFERENCES bay,
    FOREIGN KEY (shop, replaces) REFERENCES task,
    CHECK ((state IN ('taken', 'running')) = (lease_until IS NOT NULL)),
    CHECK (state NOT IN ('taken', 'running', 'held') OR technician IS NOT NULL),
    CHECK (state <> 'running' OR started_at IS NOT NULL),
    CHECK (state <> 'passed' OR (ended_at IS NOT NULL AND settled_at IS NOT NULL))
) WITH (fillfactor = 70);
CREATE INDEX task_order ON task (shop, order_id);
CREATE INDEX task_takeable ON task (shop, id) WHERE state = 'ready';
CREATE INDEX task_leased ON task (shop, lease_until) WHERE state IN ('taken', 'running');
-- One task is required per procedure and place; one runs on a vehicle, and an interrupted one counts as running.
CREATE UNIQUE INDEX task_required_once ON task (shop, order_id, procedure, place)
    WHERE state NOT IN ('disturbed', 'withdrawn');
CREATE UNIQUE INDEX task_one_runs ON task (shop, vehicle) WHERE state IN ('running', 'held');

-- What comes before what: a task or a line before a task or a line.
CREATE TABLE precedence (
    shop uuid NOT NULL REFERENCES shop,
    order_id uuid NOT NULL,
    before_node text NOT NULL,
    then_node text NOT NULL,
    before_task uuid,
    before_line integer,
    then_task uuid,
    then_line integer,
    kind text NOT NULL,
    PRIMARY KEY (shop, order_id, before_node, then_node),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    CHECK (num_nonnulls(before_task, before_line) = 1 AND num_nonnulls(then_task, then_line) = 1)
);

-- A node that must lie wholly before a service mode is entered or wholly after it is left.
CREATE TABLE either_or (
    shop uuid NOT NULL REFERENCES shop,
    order_id uuid NOT NULL,
    enter_task uuid NOT NULL,
    leave_task uuid NOT NULL,
    node text NOT NULL,
    node_task uuid,
    node_line integer,
    PRIMARY KEY (shop, order_id, enter_task, node),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    CHECK (num_nonnulls(node_task, node_line) = 1)
);

CREATE TABLE attempt (
    shop uuid NOT NULL REFERENCES shop,
    task uuid NOT NULL,
    number integer NOT NULL CHECK (number >= 1),
    fence bigint NOT NULL,
    technician uuid NOT NULL,
    bay uuid,
    equipment jsonb NOT NULL DEFAULT '[]',
    taken_at timestamptz NOT NULL,
    started_at timestamptz,
    ended_at timestamptz,
    outcome text CHECK (outcome IN ('passed', 'passed_by_check', 'failed', 'returned', 'lapsed', 'withdrawn', 'waived', 'interrupted', 'blocked')),
    detail jsonb NOT NULL DEFAULT '{}',
    PRIMARY KEY (shop, task, number),
    FOREIGN KEY (shop, task) REFERENCES task,
    FOREIGN KEY (shop, technician) REFERENCES technician,
    FOREIGN KEY (shop, bay) REFERENCES bay
) WITH (fillfactor = 70);

CREATE TABLE acknowledgement (
    shop uuid NOT NULL REFERENCES shop,
    task uuid NOT NULL,
    attempt integer NOT NULL,
    caution text NOT NULL,
    by_person text NOT NULL,
    at timestamptz NOT NULL,
    PRIMARY KEY (shop, task, attempt, caution),
    FOREIGN KEY (shop, task, attempt) REFERENCES attempt
);

CREATE TABLE evidence (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    task uuid NOT NULL,
    attempt integer NOT NULL,
    kind text NOT NULL CHECK (kind IN ('reading', 'frame', 'attestation', 'attachment')),
    given jsonb NOT NULL,
    content jsonb NOT NULL,
    marks text[] NOT NULL,
    taken_at timestamptz NOT NULL,
    received_at timestamptz NOT NULL,
    observed_by text NOT NULL,
    entered_by text NOT NULL,
    client text,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, task, attempt) REFERENCES attempt
);
CREATE INDEX evidence_attempt ON evidence (shop, task, attempt, id);

CREATE TABLE attachment (
    shop uuid NOT NULL REFERENCES shop,
    evidence uuid NOT NULL,
    media_type text NOT NULL,
    sha256 bytea NOT NULL CHECK (length(sha256) = 32),
    bytes bytea,
    PRIMARY KEY (shop, evidence),
    FOREIGN KEY (shop, evidence) REFERENCES evidence
);

-- What is in use: a vehicle, a bay, a technician, a unit of equipment; one open row for each.
CREATE TABLE occupancy (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    kind text NOT NULL CHECK (kind IN ('vehicle', 'bay', 'technician', 'equipment')),
    thing uuid NOT NULL,
    order_id uuid NOT NULL,
    task uuid,
    line integer,
    from_at timestamptz NOT NULL,
    until_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    FOREIGN KEY (shop, task) REFERENCES task,
    CHECK (num_nonnulls(task, line) = 1)
);
CREATE UNIQUE INDEX occupancy_open ON occupancy (shop, kind, thing) WHERE until_at IS NULL;
CREATE INDEX occupancy_of ON occupancy (shop, order_id) WHERE until_at IS NULL;

-- A service mode that was entered on a vehicle and must be left again.
CREATE TABLE bracket (
    shop uuid NOT NULL REFERENCES shop,
    entered_by uuid NOT NULL,
    vehicle uuid NOT NULL,
    order_id uuid NOT NULL,
    mode text NOT NULL,
    left_by text NOT NULL,
    must_not_move boolean NOT NULL,
    no_handover boolean NOT NULL,
    disturbed_by jsonb NOT NULL,
    opened_at timestamptz NOT NULL,
    closed_at timestamptz,
    closed_by uuid,
    PRIMARY KEY (shop, entered_by),
    FOREIGN KEY (shop, entered_by) REFERENCES task,
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    FOREIGN KEY (shop, closed_by) REFERENCES task
);
CREATE UNIQUE INDEX bracket_open ON bracket (shop, vehicle, mode) WHERE closed_at IS NULL;

-- A hold on a vehicle: it must not move, or a person must decide first.
CREATE TABLE hold (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    vehicle uuid NOT NULL,
    kind text NOT NULL CHECK (kind IN ('must_not_move', 'undecided')),
    reason text NOT NULL,
    task uuid,
    opened_at timestamptz NOT NULL,
    until_at timestamptz,
    cleared_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    FOREIGN KEY (shop, task) REFERENCES task
);
CREATE INDEX hold_open ON hold (shop, vehicle) WHERE cleared_at IS NULL;

CREATE TABLE waiver (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    task uuid NOT NULL,
    reason text NOT NULL CHECK (reason <> ''),
    customer_told text,
    restriction text,
    people integer NOT NULL CHECK (people IN (1, 2)),
    given_by text NOT NULL,
    given_at timestamptz NOT NULL,
    approved_by text,
    approved_at timestamptz,
    revoked_by text,
    revoked_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, task) REFERENCES task,
    CHECK (approved_by IS NULL OR approved_by <> given_by)
);
CREATE UNIQUE INDEX waiver_open ON waiver (shop, task) WHERE revoked_at IS NULL;

-- An offer of one technician to another.
CREATE TABLE handover (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    task uuid NOT NULL,
    fence bigint NOT NULL,
    from_technician uuid NOT NULL,
    to_technician uuid NOT NULL,
    note text NOT NULL DEFAULT '',
    offered_at timestamptz NOT NULL,
    accepted_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, task) REFERENCES task,
    FOREIGN KEY (shop, from_technician) REFERENCES technician,
    FOREIGN KEY (shop, to_technician) REFERENCES technician
);
CREATE UNIQUE INDEX handover_open ON handover (shop, task) WHERE accepted_at IS NULL;
