-- A picture lies under an elevation.
INSERT INTO design_backdrop (design_id, kind, width_px, height_px, bytes, digest, x_um, y_um, width_um, opacity, print) VALUES
    (2, 'png', 64, 32, x'89504e47', 'none', -1000000, 0, 6000000, 40, 1);
