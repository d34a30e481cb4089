-- Sets: frames, bars, extra lines, reasons given for broken limits, bench steps.

CREATE TABLE design (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE CONSTRAINT design_name_length CHECK (length(name) BETWEEN 1 AND 120),
    state TEXT NOT NULL DEFAULT 'draft' CONSTRAINT design_state CHECK (state IN
        ('draft', 'reserved', 'building', 'standing', 'struck', 'cancelled')),
    build_on TEXT NOT NULL CONSTRAINT design_build_on CHECK (build_on IS date(build_on)),
    get_in TEXT NOT NULL CONSTRAINT design_get_in CHECK (get_in IS date(get_in) AND get_in >= build_on),
    strike_on TEXT NOT NULL CONSTRAINT design_strike_on CHECK (strike_on IS date(strike_on) AND strike_on >= get_in),
    budget_minor INTEGER CONSTRAINT design_budget CHECK (budget_minor >= 0),
    note TEXT NOT NULL DEFAULT '' CONSTRAINT design_note_length CHECK (length(note) <= 4000),
    lead_part_id INTEGER REFERENCES part (id),
    cable_part_id INTEGER REFERENCES part (id),
    block_part_id INTEGER REFERENCES part (id),
    driver_part_id INTEGER REFERENCES part (id),
    supply_part_id INTEGER REFERENCES part (id),
    -- The plan that the holds were made from, as JSON, and its digest.
    plan TEXT CONSTRAINT design_plan_is_json CHECK (plan IS NULL OR json_valid(plan)),
    plan_digest TEXT,
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE TRIGGER design_state_step BEFORE UPDATE OF state ON design
WHEN NEW.state <> OLD.state AND NOT (OLD.state || '>' || NEW.state IN (
    'draft>reserved', 'draft>cancelled',
    'reserved>draft', 'reserved>building', 'reserved>cancelled',
    'building>reserved', 'building>standing', 'building>cancelled',
    'standing>struck', 'cancelled>draft'))
BEGIN SELECT RAISE(ABORT, 'design_state_step'); END;

CREATE TABLE design_frame (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    label TEXT NOT NULL CONSTRAINT design_frame_label CHECK (length(label) BETWEEN 1 AND 120),
    x_um INTEGER NOT NULL, y_um INTEGER NOT NULL,
    width_um INTEGER NOT NULL CONSTRAINT design_frame_width CHECK (width_um >= 0),
    height_um INTEGER NOT NULL CONSTRAINT design_frame_height CHECK (height_um >= 0),
    thing_id INTEGER REFERENCES thing (id),
    CONSTRAINT design_frame_label_once UNIQUE (design_id, label)
) STRICT;

CREATE TABLE bar (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    label TEXT NOT NULL CONSTRAINT bar_label_length CHECK (length(label) BETWEEN 1 AND 120),
    length_um INTEGER NOT NULL CONSTRAINT bar_length CHECK (length_um BETWEEN 1 AND 1000000000),
    shorter_um INTEGER NOT NULL CONSTRAINT bar_shorter CHECK (shorter_um >= 0),
    longer_um INTEGER NOT NULL CONSTRAINT bar_longer CHECK (longer_um >= 0),
    channels TEXT NOT NULL CONSTRAINT bar_channels CHECK (length(channels) > 0),
    voltage_mv INTEGER,
    diffused INTEGER NOT NULL CONSTRAINT bar_diffused CHECK (diffused IN (0, 1)),
    fed TEXT NOT NULL CONSTRAINT bar_fed CHECK (fed IN ('one_end', 'both_ends')),
    frame_id INTEGER REFERENCES design_frame (id) ON DELETE SET NULL,
    x_um INTEGER NOT NULL, y_um INTEGER NOT NULL, angle_mdeg INTEGER NOT NULL,
    control_group TEXT NOT NULL DEFAULT '',
    feed_place TEXT NOT NULL DEFAULT '',
    cable_um INTEGER NOT NULL CONSTRAINT bar_cable CHECK (cable_um BETWEEN 0 AND 1000000000),
    tape_part_id INTEGER REFERENCES part (id),
    profile_part_id INTEGER REFERENCES part (id),
    fixture_id INTEGER REFERENCES thing (id),
    CONSTRAINT bar_label_once UNIQUE (design_id, label)
) STRICT;
CREATE INDEX bar_by_design ON bar (design_id, position);

CREATE TABLE design_extra (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    part_id INTEGER NOT NULL REFERENCES part (id),
    amount INTEGER NOT NULL CONSTRAINT design_extra_amount CHECK (amount > 0),
    note TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX design_extra_by_design ON design_extra (design_id);

-- Why a plan is used although it breaks a limit.
CREATE TABLE limit_reason (
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    -- Names the rule and what it is about, as the plan's checks do.
    check_key TEXT NOT NULL,
    reason TEXT NOT NULL CONSTRAINT limit_reason_length CHECK (length(reason) BETWEEN 1 AND 400),
    who TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    PRIMARY KEY (design_id, check_key)
) STRICT, WITHOUT ROWID;

CREATE TABLE step (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    kind TEXT NOT NULL CONSTRAINT step_kind CHECK (kind IN ('cut', 'assemble', 'fetch', 'wire', 'address', 'test')),
    title TEXT NOT NULL,
    bar_id INTEGER REFERENCES bar (id) ON DELETE SET NULL,
    -- What the step does to the stock, as JSON.
    task TEXT NOT NULL CONSTRAINT step_task_is_json CHECK (json_valid(task)),
    done_by TEXT,
    done_at_ms INTEGER,
    movement_id INTEGER REFERENCES movement (id),
    CONSTRAINT step_done_by_someone CHECK ((done_by IS NULL) = (done_at_ms IS NULL)),
    CONSTRAINT step_movement_when_done CHECK (movement_id IS NULL OR done_by IS NOT NULL)
) STRICT;
CREATE INDEX step_by_design ON step (design_id, position);
