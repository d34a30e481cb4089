-- The ledger begins: goods come in, a count is corrected, a roll is cut in two, a driver is lent, a
-- fixture and a frame are entered, one is marked, and a movement is undone. The set has bars.
INSERT INTO design_frame (id, design_id, label, x_um, y_um, width_um, height_um) VALUES (1, 1, 'Left', 0, 0, 2000000, 3000000);
INSERT INTO bar (id, design_id, position, label, length_um, shorter_um, longer_um, channels, voltage_mv, diffused, fed, frame_id,
    x_um, y_um, angle_mdeg, cable_um, tape_part_id) VALUES
    (1, 1, 0, '1', 900000, 50000, 0, '["red","white"]', 24000, 0, 'one_end', 1, 0, 0, 90000, 2000000, 1),
    (2, 1, 1, '2', 600000, 0, 0, '["red","white"]', NULL, 0, 'both_ends', NULL, 500000, 0, 0, 0, NULL);
INSERT INTO place (id, parent_id, name, kind, position) VALUES (4, 1, 'Shelf B', 'shelf', 2);
INSERT INTO movement (id, at_ms, on_date, kind, who, reason) VALUES
    (1, 1772100000000, '2026-02-26', 'receive', 'Ines', 'spring order'), (2, 1772100001000, '2026-02-26', 'receive', 'Ines', ''),
    (3, 1772100002000, '2026-02-26', 'receive', 'Ines', ''), (4, 1772100003000, '2026-02-26', 'receive', 'Ines', '');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 1, 3, 20, 1, id FROM account WHERE place_id = 4;
INSERT INTO thing (id, tag, kind, part_id) VALUES (1, 'R-1', 'piece', 1), (2, 'D-1', 'unit', 2);
INSERT INTO piece (thing_id, amount, rest_um, start_end, end_end, batch) VALUES
    (1, 100, 0, '{"is":"lead","connector":{"family":"four-pin inline","gender":"male","pins":["common","red","white"]}}', '{"is":"bare"}', 'K7');
INSERT INTO unit (thing_id, address, serial) VALUES (2, 101, 'S-77');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 2, 1, 1, 100, 1, id FROM account WHERE place_id = 4;
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 2, 2, 2, 1, 1, id FROM account WHERE place_id = 4;
INSERT INTO thing (id, tag, kind, note) VALUES (3, 'F-1', 'fixture', 'from the arch'), (4, 'W-1', 'frame', '');
INSERT INTO fixture (thing_id, tape_part_id, channels, voltage_mv, lit_um, diffused, fed) VALUES (3, 1, 'red, white', 24000, 900000, 0, 'one_end');
INSERT INTO frame (thing_id, name, width_um, height_um) VALUES (4, 'Left frame', 2000000, 3000000);
INSERT INTO movement_line (movement_id, thing_id, amount, from_id, to_id)
    SELECT 3, 3, 1, 1, id FROM account WHERE place_id = 4;
INSERT INTO movement_line (movement_id, thing_id, amount, from_id, to_id)
    SELECT 4, 4, 1, 1, id FROM account WHERE place_id = 4;
INSERT INTO movement (id, at_ms, on_date, kind, who, reason) VALUES (5, 1772100004000, '2026-02-27', 'count', 'Tomas Reed', 'stocktake');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 5, 3, 3, id, 5 FROM account WHERE place_id = 4;
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (6, 1772100005000, '2026-02-27', 'cut', 'Ines');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 6, 1, 1, 100, id, 6 FROM account WHERE place_id = 4;
INSERT INTO thing (id, tag, kind, part_id) VALUES (5, 'O-1', 'piece', 1), (6, 'R-1-2', 'piece', 1);
INSERT INTO piece (thing_id, amount, rest_um, start_end, end_end, batch, parent_id, parent_from) VALUES
    (5, 40, 0, '{"is":"lead","connector":{"family":"four-pin inline","gender":"male","pins":["common","red","white"]}}', '{"is":"bare"}', 'K7', 1, 0),
    (6, 60, 0, '{"is":"bare"}', '{"is":"bare"}', 'K7', 1, 40);
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 6, 1, 5, 40, 6, id FROM account WHERE place_id = 4;
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 6, 1, 6, 60, 6, id FROM account WHERE place_id = 4;
INSERT INTO loan (id, borrower, due_on) VALUES (1, 'The school', '2026-03-20');
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (7, 1772100006000, '2026-02-28', 'lend', 'Ines');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 7, 2, 2, 1, place.id, loan.id FROM account AS place, account AS loan WHERE place.place_id = 4 AND loan.loan_id = 1;
INSERT INTO movement (id, at_ms, on_date, kind, who, mark_thing_id, mark_before, mark_after)
    VALUES (8, 1772100007000, '2026-02-28', 'mark', 'Ines', 3, 'good', 'suspect');
UPDATE thing SET condition = 'suspect', version = version + 1 WHERE id = 3;
INSERT INTO movement (id, at_ms, on_date, kind, who, design_id) VALUES (9, 1772100008000, '2026-03-01', 'scrap', 'Ines', 1);
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 9, 3, 2, id, 3 FROM account WHERE place_id = 4;
INSERT INTO movement (id, at_ms, on_date, kind, who, undoes_id) VALUES (10, 1772100009000, '2026-03-01', 'undo', 'Ines', 9);
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 10, 3, 2, 3, id FROM account WHERE place_id = 4;
