-- Totals: the frame takes a bar along, and more clips come in.
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (15, 1772700000000, '2026-03-05', 'mount', 'Ines'), (16, 1772700001000, '2026-03-05', 'receive', 'Ines');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 15, 3, 2, place.id, frame.id FROM account AS place, account AS frame WHERE place.place_id = 4 AND frame.thing_id = 4;
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 16, 3, 7, 1, id FROM account WHERE place_id = 5;
