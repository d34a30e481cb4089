-- What a set is planned around by choice: rolls, offcuts and fixtures that it leaves alone, and
-- suppliers from whom nothing is bought for it. Which fixture serves which bar stands at the bar.

CREATE TABLE design_left_alone (
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    thing_id INTEGER NOT NULL REFERENCES thing (id),
    note TEXT NOT NULL DEFAULT ''
        CONSTRAINT design_left_alone_note CHECK (length(note) <= 4000),
    PRIMARY KEY (design_id, thing_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE design_not_from (
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    supplier_id INTEGER NOT NULL REFERENCES supplier (id),
    note TEXT NOT NULL DEFAULT ''
        CONSTRAINT design_not_from_note CHECK (length(note) <= 4000),
    PRIMARY KEY (design_id, supplier_id)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER design_left_alone_kind BEFORE INSERT ON design_left_alone
WHEN (SELECT kind FROM thing WHERE id = NEW.thing_id) NOT IN ('piece', 'fixture')
BEGIN SELECT RAISE(ABORT, 'left_alone_is_piece_or_fixture'); END;
