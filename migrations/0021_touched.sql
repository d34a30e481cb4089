-- Pieces that were touched otherwise than by the ledger: whoever keeps the pieces in memory reads those
-- again, and those that lines moved since (`src/db/snapshot/known.rs`). Written by the triggers below and
-- by nothing else; a number is never given twice.

CREATE TABLE touched (
    -- Kept where the piece is gone.
    thing_id INTEGER NOT NULL PRIMARY KEY,
    number INTEGER NOT NULL
) STRICT;
CREATE INDEX touched_by_number ON touched (number);

-- One that is nowhere yet is read with the line that brings it in.
CREATE TRIGGER piece_added_is_noted AFTER INSERT ON piece
WHEN (SELECT account_id FROM thing WHERE id = NEW.thing_id) IS NOT NULL
BEGIN
    INSERT INTO touched (thing_id, number) SELECT NEW.thing_id, coalesce(max(number), 0) + 1 FROM touched WHERE true
    ON CONFLICT (thing_id) DO UPDATE SET number = excluded.number;
END;
CREATE TRIGGER piece_changed_is_noted AFTER UPDATE ON piece
BEGIN
    INSERT INTO touched (thing_id, number) SELECT NEW.thing_id, coalesce(max(number), 0) + 1 FROM touched WHERE true
    ON CONFLICT (thing_id) DO UPDATE SET number = excluded.number;
END;
CREATE TRIGGER piece_removed_is_noted AFTER DELETE ON piece
BEGIN
    INSERT INTO touched (thing_id, number) SELECT OLD.thing_id, coalesce(max(number), 0) + 1 FROM touched WHERE true
    ON CONFLICT (thing_id) DO UPDATE SET number = excluded.number;
END;

-- Where a thing is changes with a line only (`thing_moves_by_ledger`).
CREATE TRIGGER thing_changed_is_noted AFTER UPDATE OF tag, kind, part_id, condition ON thing
WHEN OLD.kind = 'piece' OR NEW.kind = 'piece'
BEGIN
    INSERT INTO touched (thing_id, number) SELECT NEW.id, coalesce(max(number), 0) + 1 FROM touched WHERE true
    ON CONFLICT (thing_id) DO UPDATE SET number = excluded.number;
END;
