-- Nothing that could not be written before: things come in whose tags are of unlike lengths.
INSERT INTO thing (id, tag, kind, part_id) VALUES (40, 'D-9', 'unit', 2), (41, 'D-10', 'unit', 2);
INSERT INTO unit (thing_id, address, serial) VALUES (40, NULL, ''), (41, NULL, '');
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (21, 1773500000000, '2026-03-15', 'receive', 'Ines');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 21, 2, 40, 1, 1, id FROM account WHERE place_id = 4
    UNION ALL SELECT 21, 2, 41, 1, 1, id FROM account WHERE place_id = 4;
