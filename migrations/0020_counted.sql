-- How many lay in the place after each corrected count, written down as it is counted: the log says so
-- without adding up all that ever moved. Written by the trigger below and by nothing else;
-- `tapewright check` adds it up again.

CREATE TABLE counted (
    line_id INTEGER NOT NULL PRIMARY KEY REFERENCES movement_line (id),
    amount INTEGER NOT NULL
) STRICT;

-- With the balances, since it is taken from them as the line leaves them.
DROP TRIGGER line_moves_balance;
CREATE TRIGGER line_moves_balance AFTER INSERT ON movement_line WHEN NEW.part_id IS NOT NULL
BEGIN
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.from_id, 0) ON CONFLICT DO NOTHING;
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.to_id, 0) ON CONFLICT DO NOTHING;
    UPDATE balance SET amount = amount - NEW.amount, things = things - (NEW.thing_id IS NOT NULL)
    WHERE part_id = NEW.part_id AND account_id = NEW.from_id;
    UPDATE balance SET amount = amount + NEW.amount, things = things + (NEW.thing_id IS NOT NULL)
    WHERE part_id = NEW.part_id AND account_id = NEW.to_id;
    INSERT INTO counted (line_id, amount)
    SELECT NEW.id, balance.amount
    FROM movement JOIN account AS source ON source.id = NEW.from_id
    JOIN balance ON balance.part_id = NEW.part_id
        AND balance.account_id = iif(source.kind = 'place', NEW.from_id, NEW.to_id)
    WHERE movement.id = NEW.movement_id AND movement.kind = 'count' AND NEW.thing_id IS NULL;
END;

INSERT INTO counted (line_id, amount)
WITH correction (line_id, part_id, account_id) AS (
    SELECT line.id, line.part_id, iif(source.kind = 'place', line.from_id, line.to_id)
    FROM movement JOIN movement_line AS line ON line.movement_id = movement.id
    JOIN account AS source ON source.id = line.from_id
    WHERE movement.kind = 'count' AND line.thing_id IS NULL),
moved (line_id, part_id, account_id, amount) AS (
    SELECT id, part_id, to_id, amount FROM movement_line
    WHERE thing_id IS NULL AND part_id IN (SELECT part_id FROM correction)
    UNION ALL
    SELECT id, part_id, from_id, -amount FROM movement_line
    WHERE thing_id IS NULL AND part_id IN (SELECT part_id FROM correction)),
running (line_id, account_id, amount) AS (
    SELECT line_id, account_id, sum(amount) OVER (PARTITION BY part_id, account_id ORDER BY line_id)
    FROM moved)
SELECT correction.line_id, running.amount
FROM correction JOIN running USING (line_id, account_id);

-- Places and sets that are older than the ledger: each has its account, as every later one has from the
-- start.
INSERT INTO account (kind, place_id)
SELECT 'place', id FROM place WHERE NOT EXISTS (SELECT 1 FROM account WHERE account.place_id = place.id);
INSERT INTO account (kind, design_id)
SELECT 'design', id FROM design WHERE NOT EXISTS (SELECT 1 FROM account WHERE account.design_id = design.id);
