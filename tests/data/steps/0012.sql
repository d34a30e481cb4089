-- A bar was tried.
INSERT INTO test_record (id, at_ms, on_date, who, kind, thing_id, design_id, dark, full_good, far_mv, note) VALUES
    (1, 1772900000000, '2026-03-07', 'Ines', 'bench', 3, 1, '["white"]', 0, 22800, 'white is dark');
