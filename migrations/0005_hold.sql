-- Orders, and what is held for which design and which days.

CREATE TABLE purchase (
    id INTEGER NOT NULL PRIMARY KEY,
    supplier_id INTEGER NOT NULL REFERENCES supplier (id),
    state TEXT NOT NULL DEFAULT 'list' CONSTRAINT purchase_state CHECK (state IN ('list', 'ordered', 'closed', 'cancelled')),
    ordered_on TEXT CONSTRAINT purchase_ordered_on CHECK (ordered_on IS NULL OR ordered_on IS date(ordered_on)),
    expected_on TEXT CONSTRAINT purchase_expected_on CHECK (expected_on IS NULL OR expected_on IS date(expected_on)),
    delivery_minor INTEGER NOT NULL DEFAULT 0 CONSTRAINT purchase_delivery CHECK (delivery_minor >= 0),
    paid_minor INTEGER NOT NULL DEFAULT 0 CONSTRAINT purchase_paid CHECK (paid_minor >= 0),
    note TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1,
    CONSTRAINT purchase_ordered_has_day CHECK (state <> 'ordered' OR ordered_on IS NOT NULL)
) STRICT;

CREATE TABLE purchase_line (
    id INTEGER NOT NULL PRIMARY KEY,
    purchase_id INTEGER NOT NULL REFERENCES purchase (id) ON DELETE CASCADE,
    part_id INTEGER NOT NULL REFERENCES part (id),
    offer_id INTEGER REFERENCES offer (id),
    design_id INTEGER REFERENCES design (id),
    packs INTEGER NOT NULL CONSTRAINT purchase_line_packs CHECK (packs BETWEEN 1 AND 100000),
    -- Count in a pack, or micrometres of one roll for parts kept by length.
    pack_amount INTEGER NOT NULL CONSTRAINT purchase_line_pack CHECK (pack_amount > 0),
    price_minor INTEGER NOT NULL CONSTRAINT purchase_line_price CHECK (price_minor >= 0),
    received_packs INTEGER NOT NULL DEFAULT 0 CONSTRAINT purchase_line_received CHECK (received_packs >= 0),
    -- Wrong or faulty ones that were sent back or will not come.
    refused_packs INTEGER NOT NULL DEFAULT 0 CONSTRAINT purchase_line_refused CHECK (refused_packs >= 0),
    note TEXT NOT NULL DEFAULT '',
    CONSTRAINT purchase_line_not_more CHECK (received_packs + refused_packs <= packs)
) STRICT;
CREATE INDEX purchase_line_by_purchase ON purchase_line (purchase_id);
CREATE INDEX purchase_line_by_part ON purchase_line (part_id);

-- Which movement received which line, so that an undo can take the packs off the line again.
CREATE TABLE purchase_receipt (
    movement_id INTEGER NOT NULL REFERENCES movement (id),
    line_id INTEGER NOT NULL REFERENCES purchase_line (id),
    packs INTEGER NOT NULL CONSTRAINT purchase_receipt_packs CHECK (packs > 0),
    undone INTEGER NOT NULL DEFAULT 0 CONSTRAINT purchase_receipt_undone CHECK (undone IN (0, 1)),
    PRIMARY KEY (movement_id, line_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE hold (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id),
    bar_id INTEGER REFERENCES bar (id) ON DELETE SET NULL,
    thing_id INTEGER REFERENCES thing (id),
    part_id INTEGER REFERENCES part (id),
    -- For a thing: the range of a piece in its stock unit, or 0 to 1. For a count: 0 to the amount.
    from_amount INTEGER NOT NULL CONSTRAINT hold_from CHECK (from_amount >= 0),
    to_amount INTEGER NOT NULL,
    from_on TEXT NOT NULL CONSTRAINT hold_from_on CHECK (from_on IS date(from_on)),
    -- 9999-12-31 for what is used up.
    to_on TEXT NOT NULL CONSTRAINT hold_to_on CHECK (to_on IS date(to_on) AND to_on >= from_on),
    becomes TEXT NOT NULL CONSTRAINT hold_becomes CHECK (becomes IN ('returns', 'consumed')),
    -- The ordered goods that it rests on, if it is conditional.
    purchase_line_id INTEGER REFERENCES purchase_line (id),
    state TEXT NOT NULL DEFAULT 'active' CONSTRAINT hold_state CHECK (state IN ('active', 'broken', 'ended')),
    broken_why TEXT NOT NULL DEFAULT '',
    made_on TEXT NOT NULL CONSTRAINT hold_made_on CHECK (made_on IS date(made_on)),
    who TEXT NOT NULL,
    CONSTRAINT hold_range CHECK (to_amount > from_amount),
    CONSTRAINT hold_subject CHECK ((thing_id IS NULL) <> (part_id IS NULL)),
    CONSTRAINT hold_due_is_count CHECK (purchase_line_id IS NULL OR part_id IS NOT NULL),
    CONSTRAINT hold_consumed_is_for_good CHECK (becomes <> 'consumed' OR to_on = '9999-12-31')
) STRICT;
CREATE INDEX hold_by_thing ON hold (thing_id) WHERE state = 'active' AND thing_id IS NOT NULL;
CREATE INDEX hold_by_part ON hold (part_id) WHERE state = 'active' AND part_id IS NOT NULL;
CREATE INDEX hold_by_design ON hold (design_id, state);
CREATE INDEX hold_by_line ON hold (purchase_line_id) WHERE purchase_line_id IS NOT NULL;

-- One thing, one holder a day. What a standing set should have brought back and has not
-- (its last day lies before the day on which the new hold is made) is still held.
CREATE TRIGGER hold_one_at_a_time BEFORE INSERT ON hold
WHEN NEW.thing_id IS NOT NULL AND NEW.state = 'active' AND EXISTS (
    SELECT 1 FROM hold AS other JOIN design ON design.id = other.design_id, venue
    WHERE other.thing_id = NEW.thing_id AND other.state = 'active'
      AND other.from_amount < NEW.to_amount AND NEW.from_amount < other.to_amount
      AND NOT (venue.same_day_turnaround = 1 AND other.design_id <> NEW.design_id
               AND (other.to_on = NEW.from_on OR NEW.to_on = other.from_on)
               AND other.to_on >= NEW.made_on)
      AND other.from_on <= NEW.to_on
      AND (NEW.from_on <= other.to_on
           OR (design.state IN ('building', 'standing') AND other.to_on < NEW.made_on)))
BEGIN SELECT RAISE(ABORT, 'hold_one_at_a_time'); END;

CREATE TRIGGER hold_what_is_there BEFORE INSERT ON hold
WHEN NEW.thing_id IS NOT NULL AND NEW.state = 'active' AND NOT EXISTS (
    SELECT 1 FROM thing JOIN account ON account.id = thing.account_id
    LEFT JOIN piece ON piece.thing_id = thing.id
    WHERE thing.id = NEW.thing_id AND account.kind IN ('place', 'design', 'loan', 'inside')
      AND NEW.to_amount <= coalesce(piece.amount, 1))
BEGIN SELECT RAISE(ABORT, 'hold_what_is_there'); END;
