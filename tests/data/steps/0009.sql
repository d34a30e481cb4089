-- What a set leaves alone, and from whom it buys nothing.
INSERT INTO design (id, name, build_on, get_in, strike_on) VALUES (2, 'Midsummer play', '2026-06-01', '2026-06-03', '2026-06-20');
INSERT INTO design_left_alone (design_id, thing_id, note) VALUES (2, 5, 'kept for the autumn');
INSERT INTO design_not_from (design_id, supplier_id, note) VALUES (2, 1, 'late last time');
