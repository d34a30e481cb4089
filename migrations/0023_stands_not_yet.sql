-- A set that was called standing by mistake goes back to the bench.
DROP TRIGGER design_state_step;
CREATE TRIGGER design_state_step BEFORE UPDATE OF state ON design
WHEN NEW.state <> OLD.state AND NOT (OLD.state || '>' || NEW.state IN (
    'draft>reserved', 'draft>cancelled',
    'reserved>draft', 'reserved>building', 'reserved>cancelled',
    'building>reserved', 'building>standing', 'building>cancelled',
    'standing>struck', 'standing>building', 'cancelled>draft'))
BEGIN SELECT RAISE(ABORT, 'design_state_step'); END;
