-- A place in a place gets its path; a piece moves there, and a count is corrected beside it.
INSERT INTO place (id, parent_id, name, kind, position) VALUES (5, 4, 'Box 4', 'box', 1);
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (12, 1772600000000, '2026-03-04', 'move', 'Ines'), (13, 1772600001000, '2026-03-04', 'move', 'Ines'), (14, 1772600002000, '2026-03-04', 'count', 'Ines');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 12, 1, 5, 40, place.id, box.id FROM account AS place, account AS box WHERE place.place_id = 4 AND box.place_id = 5;
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 13, 3, 5, place.id, box.id FROM account AS place, account AS box WHERE place.place_id = 4 AND box.place_id = 5;
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 14, 3, 1, 5, id FROM account WHERE place_id = 5;
