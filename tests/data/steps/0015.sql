-- A change is written down, and from where a movement was made.
UPDATE acting SET who = 'Ines', address = '192.0.2.7', at_ms = 1773100000000;
UPDATE offer SET price_minor = 270, version = version + 1 WHERE id = 2;
INSERT INTO movement (id, at_ms, on_date, kind, who) VALUES (17, 1773100000000, '2026-03-10', 'give_back', 'Ines');
INSERT INTO movement_line (movement_id, part_id, thing_id, amount, from_id, to_id)
    SELECT 17, 2, 2, 1, loan.id, place.id FROM account AS place, account AS loan WHERE place.place_id = 4 AND loan.loan_id = 1;
