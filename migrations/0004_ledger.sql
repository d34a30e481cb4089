-- What there is, and the append-only ledger of every movement. Balances and whereabouts are kept
-- by the ledger's own triggers and by nothing else.

CREATE TABLE thing (
    id INTEGER NOT NULL PRIMARY KEY,
    tag TEXT NOT NULL CONSTRAINT thing_tag_once UNIQUE
        CONSTRAINT thing_tag_form CHECK (length(tag) BETWEEN 1 AND 24 AND tag = upper(tag)),
    kind TEXT NOT NULL CONSTRAINT thing_kind CHECK (kind IN ('piece', 'unit', 'fixture', 'frame')),
    part_id INTEGER REFERENCES part (id),
    -- Where it is; written only by the ledger's trigger.
    account_id INTEGER REFERENCES account (id),
    condition TEXT NOT NULL DEFAULT 'good' CONSTRAINT thing_condition CHECK (condition IN ('good', 'suspect', 'dead')),
    note TEXT NOT NULL DEFAULT '' CONSTRAINT thing_note_length CHECK (length(note) <= 4000),
    inspect_on TEXT CONSTRAINT thing_inspect_on CHECK (inspect_on IS NULL OR inspect_on IS date(inspect_on)),
    version INTEGER NOT NULL DEFAULT 1,
    CONSTRAINT thing_part CHECK ((kind IN ('piece', 'unit')) = (part_id IS NOT NULL))
) STRICT;
CREATE INDEX thing_by_part ON thing (part_id, account_id);
CREATE INDEX thing_by_account ON thing (account_id);
CREATE INDEX thing_by_kind ON thing (kind, account_id);

CREATE TABLE piece (
    thing_id INTEGER NOT NULL PRIMARY KEY REFERENCES thing (id),
    -- Whole cut units for tape, micrometres for profile and cable.
    amount INTEGER NOT NULL CONSTRAINT piece_amount CHECK (amount >= 0),
    rest_um INTEGER NOT NULL DEFAULT 0 CONSTRAINT piece_rest CHECK (rest_um >= 0),
    start_end TEXT NOT NULL CONSTRAINT piece_start_is_json CHECK (json_valid(start_end)),
    end_end TEXT NOT NULL CONSTRAINT piece_end_is_json CHECK (json_valid(end_end)),
    joint_offset_units INTEGER CONSTRAINT piece_joint_offset CHECK (joint_offset_units >= 0),
    batch TEXT NOT NULL DEFAULT '' CONSTRAINT piece_batch_length CHECK (length(batch) <= 60),
    parent_id INTEGER REFERENCES thing (id),
    parent_from INTEGER,
    CONSTRAINT piece_not_nothing CHECK (amount + rest_um > 0),
    CONSTRAINT piece_parent CHECK ((parent_id IS NULL) = (parent_from IS NULL))
) STRICT;
CREATE INDEX piece_by_parent ON piece (parent_id) WHERE parent_id IS NOT NULL;

CREATE TABLE unit (
    thing_id INTEGER NOT NULL PRIMARY KEY REFERENCES thing (id),
    -- DMX start address that a driver is set to, if known.
    address INTEGER CONSTRAINT unit_address CHECK (address BETWEEN 1 AND 512),
    serial TEXT NOT NULL DEFAULT '' CONSTRAINT unit_serial_length CHECK (length(serial) <= 120)
) STRICT;

CREATE TABLE fixture (
    thing_id INTEGER NOT NULL PRIMARY KEY REFERENCES thing (id),
    tape_part_id INTEGER REFERENCES part (id),
    profile_part_id INTEGER REFERENCES part (id),
    channels TEXT NOT NULL CONSTRAINT fixture_channels CHECK (length(channels) > 0),
    voltage_mv INTEGER NOT NULL CONSTRAINT fixture_voltage CHECK (voltage_mv > 0),
    lit_um INTEGER NOT NULL CONSTRAINT fixture_lit CHECK (lit_um BETWEEN 1 AND 1000000000),
    diffused INTEGER NOT NULL CONSTRAINT fixture_diffused CHECK (diffused IN (0, 1)),
    fed TEXT NOT NULL CONSTRAINT fixture_fed CHECK (fed IN ('one_end', 'both_ends')),
    connector TEXT CONSTRAINT fixture_connector_is_json CHECK (connector IS NULL OR json_valid(connector)),
    batch TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE frame (
    thing_id INTEGER NOT NULL PRIMARY KEY REFERENCES thing (id),
    name TEXT NOT NULL CONSTRAINT frame_name_length CHECK (length(name) BETWEEN 1 AND 120),
    width_um INTEGER NOT NULL CONSTRAINT frame_width CHECK (width_um >= 0),
    height_um INTEGER NOT NULL CONSTRAINT frame_height CHECK (height_um >= 0)
) STRICT;

CREATE TABLE loan (
    id INTEGER NOT NULL PRIMARY KEY,
    borrower TEXT NOT NULL CONSTRAINT loan_borrower_length CHECK (length(borrower) BETWEEN 1 AND 120),
    due_on TEXT NOT NULL CONSTRAINT loan_due_on CHECK (due_on IS date(due_on)),
    note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE account (
    id INTEGER NOT NULL PRIMARY KEY,
    kind TEXT NOT NULL CONSTRAINT account_kind CHECK (kind IN
        ('place', 'design', 'loan', 'inside', 'world', 'used', 'scrap', 'lost', 'adjust', 'bench')),
    place_id INTEGER UNIQUE REFERENCES place (id),
    design_id INTEGER UNIQUE REFERENCES design (id),
    loan_id INTEGER UNIQUE REFERENCES loan (id),
    thing_id INTEGER UNIQUE REFERENCES thing (id),
    CONSTRAINT account_subject CHECK (
        (kind = 'place') = (place_id IS NOT NULL) AND (kind = 'design') = (design_id IS NOT NULL)
        AND (kind = 'loan') = (loan_id IS NOT NULL) AND (kind = 'inside') = (thing_id IS NOT NULL))
) STRICT;
INSERT INTO account (id, kind) VALUES
    (1, 'world'), (2, 'used'), (3, 'scrap'), (4, 'lost'), (5, 'adjust'), (6, 'bench');

-- Every place, design, loan, fixture and frame has its account from the start.
CREATE TRIGGER place_account AFTER INSERT ON place
BEGIN INSERT INTO account (kind, place_id) VALUES ('place', NEW.id); END;
CREATE TRIGGER design_account AFTER INSERT ON design
BEGIN INSERT INTO account (kind, design_id) VALUES ('design', NEW.id); END;
CREATE TRIGGER loan_account AFTER INSERT ON loan
BEGIN INSERT INTO account (kind, loan_id) VALUES ('loan', NEW.id); END;
CREATE TRIGGER thing_account AFTER INSERT ON thing WHEN NEW.kind IN ('fixture', 'frame')
BEGIN INSERT INTO account (kind, thing_id) VALUES ('inside', NEW.id); END;

CREATE TABLE movement (
    id INTEGER NOT NULL PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    -- The venue's calendar day.
    on_date TEXT NOT NULL CONSTRAINT movement_on_date CHECK (on_date IS date(on_date)),
    kind TEXT NOT NULL CONSTRAINT movement_kind CHECK (kind IN
        ('receive', 'move', 'use', 'scrap', 'lose', 'find', 'count', 'cut', 'assemble', 'dismantle',
         'mount', 'unmount', 'lend', 'give_back', 'take_out', 'bring_back', 'mark', 'undo')),
    who TEXT NOT NULL CONSTRAINT movement_who CHECK (length(who) BETWEEN 1 AND 120),
    reason TEXT NOT NULL DEFAULT '' CONSTRAINT movement_reason_length CHECK (length(reason) <= 4000),
    design_id INTEGER REFERENCES design (id),
    undoes_id INTEGER CONSTRAINT movement_undone_once UNIQUE REFERENCES movement (id),
    -- What a mark changed: thing, condition before and after.
    mark_thing_id INTEGER REFERENCES thing (id),
    mark_before TEXT, mark_after TEXT,
    CONSTRAINT movement_undo_names_one CHECK ((kind = 'undo') = (undoes_id IS NOT NULL)),
    CONSTRAINT movement_mark_is_whole CHECK ((mark_thing_id IS NULL) = (mark_before IS NULL)
        AND (mark_thing_id IS NULL) = (mark_after IS NULL))
) STRICT;
CREATE INDEX movement_by_design ON movement (design_id, id) WHERE design_id IS NOT NULL;
CREATE INDEX movement_by_mark ON movement (mark_thing_id) WHERE mark_thing_id IS NOT NULL;

CREATE TABLE movement_line (
    id INTEGER NOT NULL PRIMARY KEY,
    movement_id INTEGER NOT NULL REFERENCES movement (id),
    part_id INTEGER REFERENCES part (id),
    thing_id INTEGER REFERENCES thing (id),
    amount INTEGER NOT NULL CONSTRAINT movement_line_amount CHECK (amount >= 0),
    rest_um INTEGER NOT NULL DEFAULT 0 CONSTRAINT movement_line_rest CHECK (rest_um >= 0),
    from_id INTEGER NOT NULL REFERENCES account (id),
    to_id INTEGER NOT NULL REFERENCES account (id),
    CONSTRAINT movement_line_moves CHECK (from_id <> to_id),
    CONSTRAINT movement_line_not_nothing CHECK (amount + rest_um > 0),
    CONSTRAINT movement_line_subject CHECK (part_id IS NOT NULL OR thing_id IS NOT NULL)
) STRICT;
CREATE INDEX movement_line_by_movement ON movement_line (movement_id);
CREATE INDEX movement_line_by_thing ON movement_line (thing_id, id) WHERE thing_id IS NOT NULL;
CREATE INDEX movement_line_by_part ON movement_line (part_id, id) WHERE part_id IS NOT NULL;
CREATE INDEX movement_line_by_to ON movement_line (to_id, id);
CREATE INDEX movement_line_by_from ON movement_line (from_id, id);

CREATE TRIGGER movement_is_kept BEFORE UPDATE ON movement BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;
CREATE TRIGGER movement_is_not_removed BEFORE DELETE ON movement BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;
CREATE TRIGGER movement_line_is_kept BEFORE UPDATE ON movement_line BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;
CREATE TRIGGER movement_line_is_not_removed BEFORE DELETE ON movement_line BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;

-- Counts, by part and account. What lies outside may be owed (negative); what one has may not.
CREATE TABLE balance (
    part_id INTEGER NOT NULL REFERENCES part (id),
    account_id INTEGER NOT NULL REFERENCES account (id),
    amount INTEGER NOT NULL,
    PRIMARY KEY (part_id, account_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX balance_by_account ON balance (account_id);

CREATE TRIGGER balance_not_negative BEFORE UPDATE ON balance
WHEN NEW.amount < 0 AND (SELECT kind FROM account WHERE id = NEW.account_id) IN ('place', 'design', 'loan', 'inside')
BEGIN SELECT RAISE(ABORT, 'balance_not_negative'); END;

CREATE TRIGGER line_moves_count AFTER INSERT ON movement_line WHEN NEW.thing_id IS NULL
BEGIN
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.from_id, 0) ON CONFLICT DO NOTHING;
    INSERT INTO balance (part_id, account_id, amount) VALUES (NEW.part_id, NEW.to_id, 0) ON CONFLICT DO NOTHING;
    UPDATE balance SET amount = amount - NEW.amount WHERE part_id = NEW.part_id AND account_id = NEW.from_id;
    UPDATE balance SET amount = amount + NEW.amount WHERE part_id = NEW.part_id AND account_id = NEW.to_id;
END;

-- A count needs a part that is kept by count; a line of a bench loss (kerf, scrap) is of a part
-- kept by length and goes from the bench only.
CREATE TRIGGER line_count_of_part BEFORE INSERT ON movement_line
WHEN NEW.thing_id IS NULL AND NEW.from_id <> 6 AND NEW.to_id <> 6
    AND (SELECT stock_by FROM part WHERE id = NEW.part_id) <> 'count'
BEGIN SELECT RAISE(ABORT, 'line_needs_its_thing'); END;

-- A thing moves only from where it is; its first movement brings it in from outside.
CREATE TRIGGER line_thing_is_there BEFORE INSERT ON movement_line
WHEN NEW.thing_id IS NOT NULL AND NOT EXISTS (
    SELECT 1 FROM thing WHERE id = NEW.thing_id AND (account_id = NEW.from_id
        OR (account_id IS NULL AND NEW.from_id IN (1, 5, 6))))
BEGIN SELECT RAISE(ABORT, 'thing_not_there'); END;

CREATE TRIGGER line_piece_is_whole BEFORE INSERT ON movement_line
WHEN NEW.thing_id IS NOT NULL AND EXISTS (
    SELECT 1 FROM piece WHERE thing_id = NEW.thing_id
        AND (amount <> NEW.amount OR rest_um <> NEW.rest_um))
BEGIN SELECT RAISE(ABORT, 'piece_moves_whole'); END;

CREATE TRIGGER line_thing_of_its_part BEFORE INSERT ON movement_line
WHEN NEW.thing_id IS NOT NULL AND NEW.part_id IS NOT (SELECT part_id FROM thing WHERE id = NEW.thing_id)
BEGIN SELECT RAISE(ABORT, 'line_thing_of_its_part'); END;

CREATE TRIGGER line_moves_thing AFTER INSERT ON movement_line WHEN NEW.thing_id IS NOT NULL
BEGIN UPDATE thing SET account_id = NEW.to_id WHERE id = NEW.thing_id; END;

CREATE TRIGGER thing_moves_by_ledger BEFORE UPDATE OF account_id ON thing
WHEN NEW.account_id IS NOT (SELECT to_id FROM movement_line WHERE thing_id = NEW.id ORDER BY id DESC LIMIT 1)
BEGIN SELECT RAISE(ABORT, 'thing_moves_by_ledger'); END;

-- What a piece is, is settled by how it came about; a wrong one is cut, scrapped or corrected.
CREATE TRIGGER piece_amount_is_kept BEFORE UPDATE OF amount, rest_um, parent_id, parent_from ON piece
WHEN EXISTS (SELECT 1 FROM movement_line WHERE thing_id = NEW.thing_id)
BEGIN SELECT RAISE(ABORT, 'piece_amount_is_kept'); END;

CREATE TRIGGER part_in_use_is_kept BEFORE DELETE ON part
WHEN EXISTS (SELECT 1 FROM thing WHERE part_id = OLD.id)
    OR EXISTS (SELECT 1 FROM movement_line WHERE part_id = OLD.id)
    OR EXISTS (SELECT 1 FROM fixture WHERE OLD.id IN (tape_part_id, profile_part_id))
    OR EXISTS (SELECT 1 FROM bar WHERE OLD.id IN (tape_part_id, profile_part_id))
    OR EXISTS (SELECT 1 FROM design WHERE OLD.id IN (lead_part_id, cable_part_id, block_part_id, driver_part_id, supply_part_id))
    OR EXISTS (SELECT 1 FROM design_extra WHERE part_id = OLD.id)
    OR EXISTS (SELECT 1 FROM offer WHERE part_id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'part_in_use_is_kept'); END;

-- Amounts in the ledger are in the part's unit: kind and cut pitch can't change under them.
CREATE TRIGGER part_unit_is_kept BEFORE UPDATE OF kind, spec ON part
WHEN (NEW.kind <> OLD.kind
      OR json_extract(NEW.spec, '$.pitch') IS NOT json_extract(OLD.spec, '$.pitch')
      OR json_extract(NEW.spec, '$.measure') IS NOT json_extract(OLD.spec, '$.measure'))
    AND EXISTS (SELECT 1 FROM movement_line WHERE part_id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'part_unit_is_kept'); END;

CREATE TRIGGER place_in_use_is_kept BEFORE UPDATE OF retired ON place
WHEN NEW.retired = 1 AND (
    EXISTS (SELECT 1 FROM thing JOIN account ON account.id = thing.account_id WHERE account.place_id = NEW.id)
    OR EXISTS (SELECT 1 FROM balance JOIN account ON account.id = balance.account_id
               WHERE account.place_id = NEW.id AND balance.amount > 0)
    OR EXISTS (SELECT 1 FROM place AS child WHERE child.parent_id = NEW.id AND child.retired = 0))
BEGIN SELECT RAISE(ABORT, 'place_in_use_is_kept'); END;
