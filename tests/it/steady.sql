BEGIN;
SELECT set_config('app.shops', '{' || :shop || '}', true);
INSERT INTO evidence (shop, id, task, attempt, kind, given, content, marks, taken_at, received_at, observed_by, entered_by, series)
SELECT :shop::uuid, gen_random_uuid(), :task::uuid, 1, 'reading',
    jsonb_build_object('kind', 'reading', 'signal', 'battery_voltage', 'value', 13.1, 'unit', 'V', 'taken_at', now()),
    jsonb_build_array(jsonb_build_object('id', gen_random_uuid(), 'taken_at', now(), 'received_at', now(), 'marks', '[]'::jsonb,
        'kind', jsonb_build_object('says', 'number', 'signal', 'battery_voltage', 'value', '13.1', 'unit', 'V'))),
    '{}', now(), now(), 'a technician', 'a technician', 'battery_voltage'
FROM generate_series(1, 20);
COMMIT;
