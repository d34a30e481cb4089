-- Clips leave the house, and the rest is counted.
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (18, 1773300000000, '2026-03-12', 'lose', 'Ines'), (19, 1773300001000, '2026-03-12', 'count', 'Ines');
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 18, 3, 1, id, 4 FROM account WHERE place_id = 4;
INSERT INTO movement_line (movement_id, part_id, amount, from_id, to_id)
    SELECT 19, 3, 2, id, 5 FROM account WHERE place_id = 4;
