-- A photo or a drawing of the stage, laid under the elevation of a set.
CREATE TABLE design_backdrop (
    design_id INTEGER NOT NULL PRIMARY KEY REFERENCES design (id) ON DELETE CASCADE,
    kind TEXT NOT NULL CONSTRAINT design_backdrop_kind CHECK (kind IN ('png', 'jpeg')),
    width_px INTEGER NOT NULL
        CONSTRAINT design_backdrop_width_px CHECK (width_px BETWEEN 16 AND 10000),
    height_px INTEGER NOT NULL
        CONSTRAINT design_backdrop_height_px CHECK (height_px BETWEEN 16 AND 10000),
    bytes BLOB NOT NULL
        CONSTRAINT design_backdrop_bytes CHECK (length(bytes) BETWEEN 1 AND 6291456),
    -- Of the bytes; the picture's address carries it.
    digest TEXT NOT NULL,
    -- Its lower left corner and its width in the elevation.
    x_um INTEGER NOT NULL,
    y_um INTEGER NOT NULL,
    width_um INTEGER NOT NULL
        CONSTRAINT design_backdrop_width CHECK (width_um BETWEEN 1 AND 1000000000),
    -- How strongly it shows, in percent.
    opacity INTEGER NOT NULL CONSTRAINT design_backdrop_opacity CHECK (opacity BETWEEN 1 AND 100),
    print INTEGER NOT NULL CONSTRAINT design_backdrop_print CHECK (print IN (0, 1))
) STRICT;
