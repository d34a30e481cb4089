-- What there is of each part in all, kept beside its balances: the cupboard shows it without adding
-- up every place, stage, loan and fixture. Written by the triggers below and by nothing else;
-- `tapewright check` adds it up again.

CREATE TABLE part_total (
    part_id INTEGER NOT NULL PRIMARY KEY REFERENCES part (id) ON DELETE CASCADE,
    -- In the part's stock unit, without remainders of tape.
    in_places INTEGER NOT NULL DEFAULT 0,
    on_stage INTEGER NOT NULL DEFAULT 0,
    lent INTEGER NOT NULL DEFAULT 0,
    -- Inside fixtures and on frames that one still owns.
    inside INTEGER NOT NULL DEFAULT 0,
    -- Pieces or units in places.
    things_in_places INTEGER NOT NULL DEFAULT 0,
    -- In how many places some of it lies.
    places INTEGER NOT NULL DEFAULT 0,
    -- The sum of those places' ids: where there is but one place, it is this one.
    places_sum INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TRIGGER part_total_begun AFTER INSERT ON part
BEGIN INSERT INTO part_total (part_id) VALUES (NEW.id); END;

CREATE TRIGGER balance_moves_total AFTER UPDATE OF amount, things ON balance
BEGIN
    UPDATE part_total SET
        in_places = in_places + CASE WHEN account.kind = 'place' THEN NEW.amount - OLD.amount ELSE 0 END,
        on_stage = on_stage + CASE WHEN account.kind = 'design' THEN NEW.amount - OLD.amount ELSE 0 END,
        lent = lent + CASE WHEN account.kind = 'loan' THEN NEW.amount - OLD.amount ELSE 0 END,
        inside = inside + CASE WHEN account.kind = 'inside' AND EXISTS (
            SELECT 1 FROM thing AS holder JOIN account AS whole ON whole.id = holder.account_id
            WHERE holder.id = account.thing_id AND whole.kind IN ('place', 'design', 'loan', 'inside'))
            THEN NEW.amount - OLD.amount ELSE 0 END,
        things_in_places = things_in_places
            + CASE WHEN account.kind = 'place' THEN NEW.things - OLD.things ELSE 0 END,
        places = places
            + CASE WHEN account.kind = 'place' THEN (NEW.amount > 0) - (OLD.amount > 0) ELSE 0 END,
        places_sum = places_sum + CASE WHEN account.kind = 'place'
            THEN account.place_id * ((NEW.amount > 0) - (OLD.amount > 0)) ELSE 0 END
    FROM account
    WHERE part_total.part_id = NEW.part_id AND account.id = NEW.account_id
        AND account.kind IN ('place', 'design', 'loan', 'inside');
END;

-- What is inside goes with the whole: lost with it, found with it.
CREATE TRIGGER holder_moves_total AFTER UPDATE OF account_id ON thing WHEN NEW.kind IN ('fixture', 'frame')
BEGIN
    UPDATE part_total SET inside = inside + balance.amount * (
        coalesce((SELECT kind FROM account WHERE id = NEW.account_id) IN ('place', 'design', 'loan', 'inside'), 0)
        - coalesce((SELECT kind FROM account WHERE id = OLD.account_id) IN ('place', 'design', 'loan', 'inside'), 0))
    FROM account JOIN balance ON balance.account_id = account.id
    WHERE account.thing_id = NEW.id AND part_total.part_id = balance.part_id;
END;

INSERT INTO part_total (part_id, in_places, on_stage, lent, inside, things_in_places, places, places_sum)
SELECT part.id,
    coalesce(sum(balance.amount) FILTER (WHERE account.kind = 'place'), 0),
    coalesce(sum(balance.amount) FILTER (WHERE account.kind = 'design'), 0),
    coalesce(sum(balance.amount) FILTER (WHERE account.kind = 'loan'), 0),
    coalesce(sum(balance.amount) FILTER (WHERE account.kind = 'inside'
        AND whole.kind IN ('place', 'design', 'loan', 'inside')), 0),
    coalesce(sum(balance.things) FILTER (WHERE account.kind = 'place'), 0),
    count(*) FILTER (WHERE account.kind = 'place' AND balance.amount > 0),
    coalesce(sum(account.place_id) FILTER (WHERE balance.amount > 0), 0)
FROM part
LEFT JOIN balance ON balance.part_id = part.id
LEFT JOIN account ON account.id = balance.account_id
LEFT JOIN thing AS holder ON holder.id = account.thing_id
LEFT JOIN account AS whole ON whole.id = holder.account_id
GROUP BY part.id;

-- What is due for inspection is asked for on every first page.
CREATE INDEX thing_by_inspection ON thing (inspect_on) WHERE inspect_on IS NOT NULL;

-- The log of a part or a place is read from its newest movement on.
DROP INDEX movement_line_by_part;
DROP INDEX movement_line_by_to;
DROP INDEX movement_line_by_from;
CREATE INDEX movement_line_by_part ON movement_line (part_id, movement_id) WHERE part_id IS NOT NULL;
CREATE INDEX movement_line_by_to ON movement_line (to_id, movement_id);
CREATE INDEX movement_line_by_from ON movement_line (from_id, movement_id);
-- The log by kind, and what was counted on a day.
CREATE INDEX movement_by_kind ON movement (kind, id);
CREATE INDEX movement_by_date ON movement (on_date, id);
