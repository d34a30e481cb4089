-- A set stood by mistake, is back at the bench, and is reserved as it was.
UPDATE design SET state = 'building', version = version + 1 WHERE id = 1;
UPDATE design SET state = 'standing', version = version + 1 WHERE id = 1;
UPDATE design SET state = 'building', version = version + 1 WHERE id = 1;
UPDATE design SET state = 'reserved', version = version + 1 WHERE id = 1;
