-- A count is written down with its correction.
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (20, 1773400000000, '2026-03-14', 'count', 'Ines');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 20, 3, 1, 5, id FROM account WHERE place_id = 4;
