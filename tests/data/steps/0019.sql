-- A part whose rate is per profile from the start.
INSERT INTO part (id, name, kind, stock_by, spec, typical, words) VALUES
    (5, 'End cap', 'sundry', 'count', '{"kind":"sundry","measure":"each","use_rate":{"per":"profile","thousandths":2000}}', 0, 'end cap');
