-- Clips, end caps and their screws hold a profile: bare tape takes none. Our own ready-made ones were
-- counted for every bar; who typed a rate of their own keeps it.
UPDATE acting SET who = 'Tapewright', address = '', at_ms = unixepoch() * 1000;
UPDATE part SET spec = json_set(spec, '$.use_rate.per', 'profile_metre')
WHERE ready_made IN ('profile-clip', 'screw-3.5x16')
    AND json_extract(spec, '$.use_rate.per') = 'metre';
UPDATE part SET spec = json_set(spec, '$.use_rate.per', 'profile')
WHERE ready_made = 'profile-end-cap' AND json_extract(spec, '$.use_rate.per') = 'bar';
