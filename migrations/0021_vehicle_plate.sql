-- A vehicle without a VIN is found by its plate.
CREATE INDEX vehicle_plate ON vehicle (shop, upper(regexp_replace(plate, '[^[:alnum:]]', '', 'g'))) WHERE plate IS NOT NULL;
