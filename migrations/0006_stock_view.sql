-- What the stock book is read by: paths of places, words of things, balances of everything that is
-- a part, and where an account is in words.

-- 'Store room / Shelf B / Box 3', kept by the triggers below.
ALTER TABLE place ADD COLUMN path TEXT NOT NULL DEFAULT '';

CREATE TRIGGER place_path_begun AFTER INSERT ON place
BEGIN
    UPDATE place SET path = coalesce((SELECT above.path || ' / ' FROM place AS above WHERE above.id = NEW.parent_id), '') || NEW.name
    WHERE id = NEW.id;
END;

CREATE TRIGGER place_path_changed AFTER UPDATE OF name, parent_id ON place
BEGIN
    UPDATE place SET path = (
        WITH RECURSIVE up (parent_id, name, height) AS (
            SELECT it.parent_id, it.name, 0 FROM place AS it WHERE it.id = place.id
            UNION ALL
            SELECT above.parent_id, above.name, up.height + 1 FROM place AS above JOIN up ON above.id = up.parent_id
        ) SELECT group_concat(name, ' / ') FROM (SELECT name FROM up ORDER BY height DESC))
    WHERE id IN (
        WITH RECURSIVE below (id) AS (
            SELECT NEW.id UNION SELECT child.id FROM place AS child JOIN below ON child.parent_id = below.id
        ) SELECT id FROM below);
END;

-- Fires the trigger above for what is there.
UPDATE place SET name = name;

-- What a thing is in words, in lower case, for search; its part's words and its tag stand elsewhere.
ALTER TABLE thing ADD COLUMN words TEXT NOT NULL DEFAULT '';
CREATE INDEX thing_bad ON thing (part_id) WHERE condition <> 'good';

-- Balances of pieces and units beside those of counts: the amount in the part's unit (without
-- remainders) and how many things.
ALTER TABLE balance ADD COLUMN things INTEGER NOT NULL DEFAULT 0;

DROP TRIGGER line_moves_count;
CREATE TRIGGER line_moves_balance AFTER INSERT ON movement_line WHEN NEW.part_id IS NOT NULL
BEGIN
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.from_id, 0) ON CONFLICT DO NOTHING;
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.to_id, 0) ON CONFLICT DO NOTHING;
    UPDATE balance SET amount = amount - NEW.amount, things = things - (NEW.thing_id IS NOT NULL)
    WHERE part_id = NEW.part_id AND account_id = NEW.from_id;
    UPDATE balance SET amount = amount + NEW.amount, things = things + (NEW.thing_id IS NOT NULL)
    WHERE part_id = NEW.part_id AND account_id = NEW.to_id;
END;

INSERT INTO balance (part_id, account_id, amount, things)
SELECT part_id, account_id, sum(amount), sum(things) FROM (
    SELECT part_id, from_id AS account_id, -amount AS amount, -1 AS things
    FROM movement_line WHERE thing_id IS NOT NULL AND part_id IS NOT NULL
    UNION ALL
    SELECT part_id, to_id, amount, 1
    FROM movement_line WHERE thing_id IS NOT NULL AND part_id IS NOT NULL)
WHERE true GROUP BY part_id, account_id
ON CONFLICT (part_id, account_id) DO UPDATE SET
    amount = amount + excluded.amount, things = things + excluded.things;

-- The log by person.
CREATE INDEX movement_by_who ON movement (who, id);

-- Where an account is, in words.
CREATE VIEW whereabouts AS
SELECT account.id AS account_id, account.kind, account.place_id, account.design_id, account.loan_id,
    account.thing_id AS inside_id,
    CASE account.kind
        WHEN 'place' THEN place.path
        WHEN 'design' THEN 'on stage for ' || design.name
        WHEN 'loan' THEN 'lent to ' || loan.borrower || ' until ' || loan.due_on
        WHEN 'inside' THEN CASE holder.kind WHEN 'frame' THEN 'on ' ELSE 'in ' END || holder.tag
        WHEN 'world' THEN 'outside'
        WHEN 'used' THEN 'used up'
        WHEN 'lost' THEN 'lost'
        WHEN 'adjust' THEN 'correction'
        ELSE account.kind
    END AS words
FROM account
LEFT JOIN place ON place.id = account.place_id
LEFT JOIN design ON design.id = account.design_id
LEFT JOIN loan ON loan.id = account.loan_id
LEFT JOIN thing AS holder ON holder.id = account.thing_id;
