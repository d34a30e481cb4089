-- A line of an order may be for several sets, each of which needs some of it: `purchase_share` says for
-- which, and nothing else does any more. A line without a row here is for no set in particular.

CREATE TABLE purchase_share (
    line_id INTEGER NOT NULL REFERENCES purchase_line (id) ON DELETE CASCADE,
    design_id INTEGER NOT NULL REFERENCES design (id),
    -- How much the set needs: to be held against the other sets of the line only.
    amount INTEGER NOT NULL CONSTRAINT purchase_share_amount CHECK (amount > 0),
    PRIMARY KEY (line_id, design_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX purchase_share_by_design ON purchase_share (design_id);

INSERT INTO purchase_share (line_id, design_id, amount)
SELECT id, design_id, packs FROM purchase_line WHERE design_id IS NOT NULL;

DROP TRIGGER purchase_line_added_is_logged;
DROP TRIGGER purchase_line_changed_is_logged;
DROP TRIGGER purchase_line_removed_is_logged;
ALTER TABLE purchase_line DROP COLUMN design_id;

CREATE TRIGGER purchase_line_added_is_logged AFTER INSERT ON purchase_line
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'purchase_line', NEW.id, json_object(
        'purchase_id', NEW.purchase_id, 'part_id', NEW.part_id, 'offer_id', NEW.offer_id,
        'packs', NEW.packs, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'received_packs', NEW.received_packs,
        'refused_packs', NEW.refused_packs, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_line_changed_is_logged AFTER UPDATE ON purchase_line
WHEN
    OLD.purchase_id IS NOT NEW.purchase_id OR OLD.part_id IS NOT NEW.part_id OR
    OLD.offer_id IS NOT NEW.offer_id OR OLD.packs IS NOT NEW.packs OR
    OLD.pack_amount IS NOT NEW.pack_amount OR OLD.price_minor IS NOT NEW.price_minor OR
    OLD.received_packs IS NOT NEW.received_packs OR
    OLD.refused_packs IS NOT NEW.refused_packs OR OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'purchase_line', NEW.id, json_object(
        'purchase_id', OLD.purchase_id, 'part_id', OLD.part_id, 'offer_id', OLD.offer_id,
        'packs', OLD.packs, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'received_packs', OLD.received_packs,
        'refused_packs', OLD.refused_packs, 'note', OLD.note), json_object(
        'purchase_id', NEW.purchase_id, 'part_id', NEW.part_id, 'offer_id', NEW.offer_id,
        'packs', NEW.packs, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'received_packs', NEW.received_packs,
        'refused_packs', NEW.refused_packs, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_line_removed_is_logged AFTER DELETE ON purchase_line
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'purchase_line', OLD.id, json_object(
        'purchase_id', OLD.purchase_id, 'part_id', OLD.part_id, 'offer_id', OLD.offer_id,
        'packs', OLD.packs, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'received_packs', OLD.received_packs,
        'refused_packs', OLD.refused_packs, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER purchase_share_added_is_logged AFTER INSERT ON purchase_share
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'purchase_share', NEW.line_id, json_object(
        'line_id', NEW.line_id, 'design_id', NEW.design_id, 'amount', NEW.amount) FROM acting;
END;
CREATE TRIGGER purchase_share_changed_is_logged AFTER UPDATE ON purchase_share
WHEN
    OLD.line_id IS NOT NEW.line_id OR OLD.design_id IS NOT NEW.design_id OR
    OLD.amount IS NOT NEW.amount
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'purchase_share', NEW.line_id, json_object(
        'line_id', OLD.line_id, 'design_id', OLD.design_id, 'amount', OLD.amount), json_object(
        'line_id', NEW.line_id, 'design_id', NEW.design_id, 'amount', NEW.amount) FROM acting;
END;
CREATE TRIGGER purchase_share_removed_is_logged AFTER DELETE ON purchase_share
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'purchase_share', OLD.line_id, json_object(
        'line_id', OLD.line_id, 'design_id', OLD.design_id, 'amount', OLD.amount) FROM acting;
END;
