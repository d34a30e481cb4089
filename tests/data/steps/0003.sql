-- A set with an extra line and a reason; its bars may name things, of which this schema knows none.
INSERT INTO design (id, name, build_on, get_in, strike_on, budget_minor, note, driver_part_id) VALUES
    (1, 'Lantern evening', '2026-04-01', '2026-04-03', '2026-04-20', 12000, 'two arches', 2);
INSERT INTO design_extra (id, design_id, part_id, amount, note) VALUES (1, 1, 3, 4, 'spares');
INSERT INTO limit_reason (design_id, check_key, reason, who, at_ms) VALUES (1, 'kept', 'tried at the bench', 'Ines', 1772000000000);
