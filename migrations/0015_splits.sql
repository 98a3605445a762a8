-- Lines go over to an order of their own, with their tasks and evidence. An order says from which one it was split off, and
-- nothing else lets a task or a line change its order.

ALTER TABLE repair_order ADD COLUMN split_from uuid;
ALTER TABLE repair_order ADD FOREIGN KEY (shop, split_from) REFERENCES repair_order;

CREATE FUNCTION was_split(at_shop uuid, from_order uuid, into_order uuid) RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT EXISTS (
        SELECT FROM repair_order o JOIN repair_order f ON f.shop = o.shop AND f.id = o.split_from
        WHERE o.shop = at_shop AND o.id = into_order AND f.id = from_order AND o.vehicle = f.vehicle
            AND o.state = 'open' AND f.state = 'open')
$$;

CREATE OR REPLACE FUNCTION guard_task() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.vehicle, NEW.procedure, NEW.place, NEW.definition, NEW.created_at)
       IS DISTINCT FROM (OLD.vehicle, OLD.procedure, OLD.place, OLD.definition, OLD.created_at) THEN
        RAISE EXCEPTION 'task %: what it is does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.order_id <> OLD.order_id
       AND (NEW.state <> OLD.state OR NOT was_split(OLD.shop, OLD.order_id, NEW.order_id)) THEN
        RAISE EXCEPTION 'task %: it goes over only to an order that was split off from its own', OLD.id
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.fence < OLD.fence OR NEW.attempt < OLD.attempt THEN
        RAISE EXCEPTION 'task %: fence and attempt only grow', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state <> OLD.state AND NOT EXISTS (
        SELECT FROM transition WHERE from_state = OLD.state AND to_state = NEW.state) THEN
        RAISE EXCEPTION 'task %: no way from % to %', OLD.id, OLD.state, NEW.state
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state IN ('taken', 'running') AND NEW.fence = OLD.fence AND (
        OLD.state NOT IN ('taken', 'running') OR NEW.technician IS DISTINCT FROM OLD.technician) THEN
        RAISE EXCEPTION 'task %: a new lease needs a new fence', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state = 'passed' AND OLD.state <> 'passed' AND NOT EXISTS (
        SELECT FROM attempt a WHERE a.shop = NEW.shop AND a.task = NEW.id AND a.number = NEW.attempt
            AND a.technician = OLD.technician AND a.outcome IS NULL) THEN
        RAISE EXCEPTION 'task %: it passes by an attempt of whoever holds it', OLD.id
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state = 'waived' AND OLD.state <> 'waived' AND NOT EXISTS (
        SELECT FROM waiver w WHERE w.shop = NEW.shop AND w.task = NEW.id AND w.revoked_at IS NULL
            AND (w.people = 1 OR w.approved_by IS NOT NULL)) THEN
        RAISE EXCEPTION 'task %: it is waived by a waiver, with all approvals that it needs', OLD.id
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;

CREATE FUNCTION guard_line() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.order_id <> OLD.order_id
       AND (NEW.state IS DISTINCT FROM OLD.state OR NOT was_split(OLD.shop, OLD.order_id, NEW.order_id)) THEN
        RAISE EXCEPTION 'line %: it goes over only to an order that was split off from its own', OLD.line
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON line FOR EACH ROW EXECUTE FUNCTION guard_line();
