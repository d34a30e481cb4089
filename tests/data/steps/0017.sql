-- A bar is served by a fixture that was chosen.
INSERT INTO bar (id, design_id, position, label, length_um, shorter_um, longer_um, channels, diffused, fed, x_um, y_um, angle_mdeg, cable_um, fixture_id)
    VALUES (3, 2, 0, '1', 900000, 0, 0, '["red","white"]', 0, 'one_end', 0, 0, 0, 0, 3);
