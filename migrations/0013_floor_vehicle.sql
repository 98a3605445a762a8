-- The vehicle on the floor: measured bays, locks that are a person's, departures before the release, a wrong identity.

-- What was measured of a bay: a list of { signal, value, unit, instrument, measured_at, valid_until }.
ALTER TABLE bay ADD COLUMN measured jsonb NOT NULL DEFAULT '[]' CHECK (jsonb_typeof(measured) = 'array');

-- The holder of a lock, and to whom it is offered.
ALTER TABLE bracket
    ADD COLUMN holder uuid,
    ADD COLUMN offered_to uuid,
    ADD FOREIGN KEY (shop, holder) REFERENCES technician,
    ADD FOREIGN KEY (shop, offered_to) REFERENCES technician,
    ADD CHECK (offered_to IS NULL OR offered_to <> holder);
-- A lock passes on only to whom its holder offered it.
CREATE FUNCTION guard_lock() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NEW.holder IS DISTINCT FROM OLD.holder AND (NEW.holder IS NULL OR NEW.holder IS DISTINCT FROM OLD.offered_to) THEN
        RAISE EXCEPTION 'lock of task %: it passes on only to whom it was offered', OLD.entered_by
            USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard_lock BEFORE UPDATE ON bracket FOR EACH ROW EXECUTE FUNCTION guard_lock();

-- The vehicle leaves the premises without being released, and comes back or not.
CREATE TABLE departure (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    vehicle uuid NOT NULL,
    order_id uuid NOT NULL,
    kind text NOT NULL CHECK (kind IN ('test_drive', 'sublet', 'left_unreleased')),
    reason text NOT NULL CHECK (reason ~ '\S'),
    driver uuid,
    provider text CHECK (provider ~ '\S'),
    odometer_out integer CHECK (odometer_out >= 0),
    left_at timestamptz NOT NULL,
    due_at timestamptz,
    returned_at timestamptz,
    odometer_in integer CHECK (odometer_in >= 0),
    condition text,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    FOREIGN KEY (shop, order_id) REFERENCES repair_order,
    FOREIGN KEY (shop, driver) REFERENCES technician,
    CHECK (kind <> 'test_drive' OR driver IS NOT NULL),
    CHECK (kind <> 'sublet' OR provider IS NOT NULL),
    CHECK (returned_at >= left_at)
);
CREATE UNIQUE INDEX departure_open ON departure (shop, vehicle) WHERE returned_at IS NULL;
CREATE INDEX departure_order ON departure (shop, order_id);
CREATE TRIGGER guard BEFORE UPDATE ON departure FOR EACH ROW EXECUTE FUNCTION guard_closed('returned_at');

-- A vehicle was taken for another one: proposed with a reason, in force with another person's word.
CREATE TABLE identity_correction (
    shop uuid NOT NULL REFERENCES shop,
    id uuid NOT NULL,
    vehicle uuid NOT NULL,
    vin text,
    plate text,
    old_vin text,
    old_plate text,
    reason text NOT NULL CHECK (reason ~ '\S'),
    given_by text NOT NULL,
    given_at timestamptz NOT NULL,
    approved_by text,
    approved_at timestamptz,
    PRIMARY KEY (shop, id),
    FOREIGN KEY (shop, vehicle) REFERENCES vehicle,
    CHECK (num_nonnulls(vin, plate) > 0),
    CHECK ((approved_by IS NULL) = (approved_at IS NULL)),
    CHECK (approved_by <> given_by)
);
CREATE UNIQUE INDEX identity_correction_open ON identity_correction (shop, vehicle) WHERE approved_by IS NULL;
CREATE FUNCTION guard_identity_correction() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.approved_by IS NOT NULL THEN
        RAISE EXCEPTION 'correction %: what was approved does not change', OLD.id USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER guard BEFORE UPDATE ON identity_correction FOR EACH ROW EXECUTE FUNCTION guard_identity_correction();

DO $$
DECLARE name text;
BEGIN
    FOREACH name IN ARRAY ARRAY['departure', 'identity_correction'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', name);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', name);
        EXECUTE format('CREATE POLICY served ON %I USING (shop = ANY (served_shops()))', name);
        EXECUTE format('GRANT SELECT, INSERT ON %I TO bayproof_service', name);
    END LOOP;
END $$;
GRANT UPDATE (returned_at, odometer_in, condition) ON departure TO bayproof_service;
GRANT UPDATE (approved_by, approved_at) ON identity_correction TO bayproof_service;
