-- What the database refuses by itself, whatever a client or a second server does.

CREATE FUNCTION guard_task() RETURNS trigger LANGUAGE plpgsql AS $$
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
    IF NEW.state = 'taken' AND OLD.state <> 'taken' AND NEW.fence <= OLD.fence THEN
        RAISE EXCEPTION 'task %: a new lease needs a new fence', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON task FOR EACH ROW EXECUTE FUNCTION guard_task();

CREATE FUNCTION guard_new_task() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.state NOT IN ('waiting', 'ready') OR NEW.fence <> 0 OR NEW.attempt <> 0 THEN
        RAISE EXCEPTION 'task %: a task begins waiting or ready', NEW.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard_new BEFORE INSERT ON task FOR EACH ROW EXECUTE FUNCTION guard_new_task();

-- An entry of the journal gets its position once; nothing else of it ever changes.
CREATE FUNCTION guard_journal() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.position IS NOT NULL OR NEW.position IS NULL
       OR (NEW.order_id, NEW.order_seq, NEW.kind, NEW.at, NEW.bytes)
          IS DISTINCT FROM (OLD.order_id, OLD.order_seq, OLD.kind, OLD.at, OLD.bytes) THEN
        RAISE EXCEPTION 'journal entry %: it is written once', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON journal_entry FOR EACH ROW EXECUTE FUNCTION guard_journal();

-- A released order does not open again.
CREATE FUNCTION guard_order() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.version < OLD.version OR NEW.next_seq < OLD.next_seq THEN
        RAISE EXCEPTION 'order %: version and sequence only grow', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    IF NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN
       (('open', 'released'), ('open', 'closed'), ('open', 'cancelled'), ('released', 'closed')) THEN
        RAISE EXCEPTION 'order %: no way from % to %', OLD.id, OLD.state, NEW.state
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON repair_order FOR EACH ROW EXECUTE FUNCTION guard_order();

-- Row security on every table that has a shop, also against the owner; and the service role's rights.
DO $$
DECLARE
    name text;
BEGIN
    FOR name IN
        SELECT table_name FROM information_schema.columns
        WHERE table_schema = 'public' AND column_name = 'shop' ORDER BY table_name
    LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', name);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', name);
        EXECUTE format('CREATE POLICY served ON %I USING (shop = ANY (served_shops()))', name);
        EXECUTE format('GRANT SELECT, INSERT ON %I TO bayproof_service', name);
    END LOOP;
    -- Evidence, acknowledgements, attempts' past and the tree are never rewritten; what may change is named here.
    FOREACH name IN ARRAY ARRAY['duty', 'catalogue', 'labour_word', 'bay', 'technician', 'equipment', 'shift', 'absence',
        'vehicle', 'repair_order', 'line', 'question', 'task', 'attempt', 'occupancy', 'bracket', 'hold', 'waiver',
        'handover', 'plan_item', 'pin']
    LOOP
        EXECUTE format('GRANT UPDATE ON %I TO bayproof_service', name);
    END LOOP;
    -- Only what is derived again may be deleted.
    FOREACH name IN ARRAY ARRAY['precedence', 'either_or', 'plan_item', 'labour_word', 'stored_answer']
    LOOP
        EXECUTE format('GRANT DELETE ON %I TO bayproof_service', name);
    END LOOP;
    GRANT UPDATE (position) ON journal_entry TO bayproof_service;
    GRANT UPDATE (through) ON plan TO bayproof_service;
    GRANT UPDATE (bytes) ON attachment TO bayproof_service;
END $$;
