-- More of what the database refuses by itself: leases that change hands silently, tasks that pass without an attempt or are
-- waived without a waiver, and a past that is rewritten.

CREATE OR REPLACE FUNCTION guard_task() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.order_id, NEW.vehicle, NEW.procedure, NEW.place, NEW.definition, NEW.created_at)
       IS DISTINCT FROM (OLD.order_id, OLD.vehicle, OLD.procedure, OLD.place, OLD.definition, OLD.created_at) THEN
        RAISE EXCEPTION 'task %: what it is does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
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

-- A row that was closed stays as it is. The argument names the column that closes it.
CREATE FUNCTION guard_closed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF to_jsonb(OLD) ->> TG_ARGV[0] IS NOT NULL AND NEW IS DISTINCT FROM OLD THEN
        RAISE EXCEPTION '%: what is over is not changed', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON bracket FOR EACH ROW EXECUTE FUNCTION guard_closed('closed_at');
CREATE TRIGGER guard BEFORE UPDATE ON hold FOR EACH ROW EXECUTE FUNCTION guard_closed('cleared_at');
CREATE TRIGGER guard BEFORE UPDATE ON occupancy FOR EACH ROW EXECUTE FUNCTION guard_closed('until_at');
CREATE TRIGGER guard BEFORE UPDATE ON handover FOR EACH ROW EXECUTE FUNCTION guard_closed('accepted_at');

-- An attempt ends once; one that broke off may go on.
CREATE FUNCTION guard_attempt() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.outcome <> 'interrupted' AND NEW IS DISTINCT FROM OLD
       OR (NEW.task, NEW.number, NEW.fence, NEW.taken_at) IS DISTINCT FROM (OLD.task, OLD.number, OLD.fence, OLD.taken_at) THEN
        RAISE EXCEPTION 'attempt % at task %: its past does not change', OLD.number, OLD.task
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON attempt FOR EACH ROW EXECUTE FUNCTION guard_attempt();

-- Of a waiver only the approval and the revocation are added, each once.
CREATE FUNCTION guard_waiver() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.task, NEW.reason, NEW.customer_told, NEW.restriction, NEW.people, NEW.given_by, NEW.given_at)
       IS DISTINCT FROM (OLD.task, OLD.reason, OLD.customer_told, OLD.restriction, OLD.people, OLD.given_by, OLD.given_at)
       OR (OLD.approved_by IS NOT NULL AND (NEW.approved_by, NEW.approved_at)
           IS DISTINCT FROM (OLD.approved_by, OLD.approved_at))
       OR (OLD.revoked_at IS NOT NULL AND NEW IS DISTINCT FROM OLD) THEN
        RAISE EXCEPTION 'waiver %: what was decided does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON waiver FOR EACH ROW EXECUTE FUNCTION guard_waiver();
