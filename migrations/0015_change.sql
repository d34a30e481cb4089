-- The log of every change that is no movement: who, when, from where, before and after.

-- Who writes just now, from where: said at the beginning of every transaction that writes, and what
-- the triggers below put into the log.
CREATE TABLE acting (
    id INTEGER NOT NULL PRIMARY KEY CONSTRAINT acting_is_one_row CHECK (id = 1),
    who TEXT NOT NULL,
    address TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;
INSERT INTO acting (id, who, address, at_ms) VALUES (1, '', '', 0);

-- From where a movement was made, where that is known.
CREATE TABLE movement_origin (
    movement_id INTEGER NOT NULL PRIMARY KEY REFERENCES movement (id),
    address TEXT NOT NULL CONSTRAINT movement_origin_address CHECK (length(address) BETWEEN 1 AND 60)
) STRICT;
CREATE TRIGGER movement_origin_is_noted AFTER INSERT ON movement
WHEN (SELECT address FROM acting) <> ''
BEGIN
    INSERT INTO movement_origin (movement_id, address) SELECT NEW.id, address FROM acting;
END;
CREATE TRIGGER movement_origin_is_kept BEFORE UPDATE ON movement_origin
BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;
CREATE TRIGGER movement_origin_is_not_removed BEFORE DELETE ON movement_origin
BEGIN SELECT RAISE(ABORT, 'ledger_is_append_only'); END;

-- Every change that is no movement: what of which, before and after. Only ever added to.
CREATE TABLE change (
    id INTEGER NOT NULL PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    who TEXT NOT NULL CONSTRAINT change_who_length CHECK (length(who) <= 120),
    address TEXT NOT NULL CONSTRAINT change_address_length CHECK (length(address) <= 60),
    -- The table, or what somebody did that is in no table (signing in).
    of TEXT NOT NULL,
    row_id INTEGER NOT NULL,
    -- The row before and after, as JSON; what is not there was not there.
    before TEXT CONSTRAINT change_before_is_json CHECK (before IS NULL OR json_valid(before)),
    after TEXT CONSTRAINT change_after_is_json CHECK (after IS NULL OR json_valid(after))
) STRICT;
CREATE INDEX change_by_row ON change (of, row_id, id);
CREATE TRIGGER change_is_kept BEFORE UPDATE ON change
BEGIN SELECT RAISE(ABORT, 'change_is_append_only'); END;
CREATE TRIGGER change_is_not_removed BEFORE DELETE ON change
BEGIN SELECT RAISE(ABORT, 'change_is_append_only'); END;

-- One trigger a table and kind of change. What a row says of itself only for speed (its version, the
-- words that it is found by) is no change.

CREATE TRIGGER venue_added_is_logged AFTER INSERT ON venue
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'venue', NEW.id, json_object(
        'name', NEW.name, 'length_unit', NEW.length_unit, 'currency', NEW.currency,
        'currency_digits', NEW.currency_digits, 'prices_include_tax', NEW.prices_include_tax,
        'zone', NEW.zone, 'slots_taken', NEW.slots_taken, 'usable_offcut_um', NEW.usable_offcut_um,
        'spare_percent', NEW.spare_percent, 'same_day_turnaround', NEW.same_day_turnaround,
        'order_slack_days', NEW.order_slack_days, 'feed_um', NEW.feed_um, 'mains_mv', NEW.mains_mv,
        'breaker_ma', NEW.breaker_ma, 'continuous_percent', NEW.continuous_percent,
        'label_base', NEW.label_base) FROM acting;
END;
CREATE TRIGGER venue_changed_is_logged AFTER UPDATE ON venue
WHEN
    OLD.name IS NOT NEW.name OR OLD.length_unit IS NOT NEW.length_unit OR
    OLD.currency IS NOT NEW.currency OR OLD.currency_digits IS NOT NEW.currency_digits OR
    OLD.prices_include_tax IS NOT NEW.prices_include_tax OR OLD.zone IS NOT NEW.zone OR
    OLD.slots_taken IS NOT NEW.slots_taken OR OLD.usable_offcut_um IS NOT NEW.usable_offcut_um OR
    OLD.spare_percent IS NOT NEW.spare_percent OR
    OLD.same_day_turnaround IS NOT NEW.same_day_turnaround OR
    OLD.order_slack_days IS NOT NEW.order_slack_days OR OLD.feed_um IS NOT NEW.feed_um OR
    OLD.mains_mv IS NOT NEW.mains_mv OR OLD.breaker_ma IS NOT NEW.breaker_ma OR
    OLD.continuous_percent IS NOT NEW.continuous_percent OR OLD.label_base IS NOT NEW.label_base
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'venue', NEW.id, json_object(
        'name', OLD.name, 'length_unit', OLD.length_unit, 'currency', OLD.currency,
        'currency_digits', OLD.currency_digits, 'prices_include_tax', OLD.prices_include_tax,
        'zone', OLD.zone, 'slots_taken', OLD.slots_taken, 'usable_offcut_um', OLD.usable_offcut_um,
        'spare_percent', OLD.spare_percent, 'same_day_turnaround', OLD.same_day_turnaround,
        'order_slack_days', OLD.order_slack_days, 'feed_um', OLD.feed_um, 'mains_mv', OLD.mains_mv,
        'breaker_ma', OLD.breaker_ma, 'continuous_percent', OLD.continuous_percent,
        'label_base', OLD.label_base), json_object(
        'name', NEW.name, 'length_unit', NEW.length_unit, 'currency', NEW.currency,
        'currency_digits', NEW.currency_digits, 'prices_include_tax', NEW.prices_include_tax,
        'zone', NEW.zone, 'slots_taken', NEW.slots_taken, 'usable_offcut_um', NEW.usable_offcut_um,
        'spare_percent', NEW.spare_percent, 'same_day_turnaround', NEW.same_day_turnaround,
        'order_slack_days', NEW.order_slack_days, 'feed_um', NEW.feed_um, 'mains_mv', NEW.mains_mv,
        'breaker_ma', NEW.breaker_ma, 'continuous_percent', NEW.continuous_percent,
        'label_base', NEW.label_base) FROM acting;
END;
CREATE TRIGGER venue_removed_is_logged AFTER DELETE ON venue
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'venue', OLD.id, json_object(
        'name', OLD.name, 'length_unit', OLD.length_unit, 'currency', OLD.currency,
        'currency_digits', OLD.currency_digits, 'prices_include_tax', OLD.prices_include_tax,
        'zone', OLD.zone, 'slots_taken', OLD.slots_taken, 'usable_offcut_um', OLD.usable_offcut_um,
        'spare_percent', OLD.spare_percent, 'same_day_turnaround', OLD.same_day_turnaround,
        'order_slack_days', OLD.order_slack_days, 'feed_um', OLD.feed_um, 'mains_mv', OLD.mains_mv,
        'breaker_ma', OLD.breaker_ma, 'continuous_percent', OLD.continuous_percent,
        'label_base', OLD.label_base) FROM acting;
END;

CREATE TRIGGER part_added_is_logged AFTER INSERT ON part
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'part', NEW.id, json_object(
        'name', NEW.name, 'kind', NEW.kind, 'stock_by', NEW.stock_by, 'code', NEW.code,
        'spec', NEW.spec, 'typical', NEW.typical, 'ready_made', NEW.ready_made, 'note', NEW.note,
        'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER part_changed_is_logged AFTER UPDATE ON part
WHEN
    OLD.name IS NOT NEW.name OR OLD.kind IS NOT NEW.kind OR OLD.stock_by IS NOT NEW.stock_by OR
    OLD.code IS NOT NEW.code OR OLD.spec IS NOT NEW.spec OR OLD.typical IS NOT NEW.typical OR
    OLD.ready_made IS NOT NEW.ready_made OR OLD.note IS NOT NEW.note OR OLD.retired IS NOT NEW.retired
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'part', NEW.id, json_object(
        'name', OLD.name, 'kind', OLD.kind, 'stock_by', OLD.stock_by, 'code', OLD.code,
        'spec', OLD.spec, 'typical', OLD.typical, 'ready_made', OLD.ready_made, 'note', OLD.note,
        'retired', OLD.retired), json_object(
        'name', NEW.name, 'kind', NEW.kind, 'stock_by', NEW.stock_by, 'code', NEW.code,
        'spec', NEW.spec, 'typical', NEW.typical, 'ready_made', NEW.ready_made, 'note', NEW.note,
        'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER part_removed_is_logged AFTER DELETE ON part
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'part', OLD.id, json_object(
        'name', OLD.name, 'kind', OLD.kind, 'stock_by', OLD.stock_by, 'code', OLD.code,
        'spec', OLD.spec, 'typical', OLD.typical, 'ready_made', OLD.ready_made, 'note', OLD.note,
        'retired', OLD.retired) FROM acting;
END;

CREATE TRIGGER place_added_is_logged AFTER INSERT ON place
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'place', NEW.id, json_object(
        'parent_id', NEW.parent_id, 'name', NEW.name, 'kind', NEW.kind, 'position', NEW.position,
        'note', NEW.note, 'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER place_changed_is_logged AFTER UPDATE ON place
WHEN
    OLD.parent_id IS NOT NEW.parent_id OR OLD.name IS NOT NEW.name OR OLD.kind IS NOT NEW.kind OR
    OLD.position IS NOT NEW.position OR OLD.note IS NOT NEW.note OR OLD.retired IS NOT NEW.retired
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'place', NEW.id, json_object(
        'parent_id', OLD.parent_id, 'name', OLD.name, 'kind', OLD.kind, 'position', OLD.position,
        'note', OLD.note, 'retired', OLD.retired), json_object(
        'parent_id', NEW.parent_id, 'name', NEW.name, 'kind', NEW.kind, 'position', NEW.position,
        'note', NEW.note, 'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER place_removed_is_logged AFTER DELETE ON place
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'place', OLD.id, json_object(
        'parent_id', OLD.parent_id, 'name', OLD.name, 'kind', OLD.kind, 'position', OLD.position,
        'note', OLD.note, 'retired', OLD.retired) FROM acting;
END;

CREATE TRIGGER supplier_added_is_logged AFTER INSERT ON supplier
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'supplier', NEW.id, json_object(
        'name', NEW.name, 'delivery_days', NEW.delivery_days, 'delivery_minor', NEW.delivery_minor,
        'free_above_minor', NEW.free_above_minor, 'note', NEW.note, 'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER supplier_changed_is_logged AFTER UPDATE ON supplier
WHEN
    OLD.name IS NOT NEW.name OR OLD.delivery_days IS NOT NEW.delivery_days OR
    OLD.delivery_minor IS NOT NEW.delivery_minor OR OLD.free_above_minor IS NOT NEW.free_above_minor OR
    OLD.note IS NOT NEW.note OR OLD.retired IS NOT NEW.retired
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'supplier', NEW.id, json_object(
        'name', OLD.name, 'delivery_days', OLD.delivery_days, 'delivery_minor', OLD.delivery_minor,
        'free_above_minor', OLD.free_above_minor, 'note', OLD.note, 'retired', OLD.retired), json_object(
        'name', NEW.name, 'delivery_days', NEW.delivery_days, 'delivery_minor', NEW.delivery_minor,
        'free_above_minor', NEW.free_above_minor, 'note', NEW.note, 'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER supplier_removed_is_logged AFTER DELETE ON supplier
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'supplier', OLD.id, json_object(
        'name', OLD.name, 'delivery_days', OLD.delivery_days, 'delivery_minor', OLD.delivery_minor,
        'free_above_minor', OLD.free_above_minor, 'note', OLD.note, 'retired', OLD.retired) FROM acting;
END;

CREATE TRIGGER offer_added_is_logged AFTER INSERT ON offer
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'offer', NEW.id, json_object(
        'part_id', NEW.part_id, 'supplier_id', NEW.supplier_id, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'minimum_packs', NEW.minimum_packs, 'code', NEW.code,
        'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER offer_changed_is_logged AFTER UPDATE ON offer
WHEN
    OLD.part_id IS NOT NEW.part_id OR OLD.supplier_id IS NOT NEW.supplier_id OR
    OLD.pack_amount IS NOT NEW.pack_amount OR OLD.price_minor IS NOT NEW.price_minor OR
    OLD.minimum_packs IS NOT NEW.minimum_packs OR OLD.code IS NOT NEW.code OR
    OLD.retired IS NOT NEW.retired
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'offer', NEW.id, json_object(
        'part_id', OLD.part_id, 'supplier_id', OLD.supplier_id, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'minimum_packs', OLD.minimum_packs, 'code', OLD.code,
        'retired', OLD.retired), json_object(
        'part_id', NEW.part_id, 'supplier_id', NEW.supplier_id, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'minimum_packs', NEW.minimum_packs, 'code', NEW.code,
        'retired', NEW.retired) FROM acting;
END;
CREATE TRIGGER offer_removed_is_logged AFTER DELETE ON offer
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'offer', OLD.id, json_object(
        'part_id', OLD.part_id, 'supplier_id', OLD.supplier_id, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'minimum_packs', OLD.minimum_packs, 'code', OLD.code,
        'retired', OLD.retired) FROM acting;
END;

CREATE TRIGGER design_added_is_logged AFTER INSERT ON design
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'design', NEW.id, json_object(
        'name', NEW.name, 'state', NEW.state, 'build_on', NEW.build_on, 'get_in', NEW.get_in,
        'strike_on', NEW.strike_on, 'budget_minor', NEW.budget_minor, 'note', NEW.note,
        'lead_part_id', NEW.lead_part_id, 'cable_part_id', NEW.cable_part_id,
        'block_part_id', NEW.block_part_id, 'driver_part_id', NEW.driver_part_id,
        'supply_part_id', NEW.supply_part_id) FROM acting;
END;
CREATE TRIGGER design_changed_is_logged AFTER UPDATE ON design
WHEN
    OLD.name IS NOT NEW.name OR OLD.state IS NOT NEW.state OR OLD.build_on IS NOT NEW.build_on OR
    OLD.get_in IS NOT NEW.get_in OR OLD.strike_on IS NOT NEW.strike_on OR
    OLD.budget_minor IS NOT NEW.budget_minor OR OLD.note IS NOT NEW.note OR
    OLD.lead_part_id IS NOT NEW.lead_part_id OR OLD.cable_part_id IS NOT NEW.cable_part_id OR
    OLD.block_part_id IS NOT NEW.block_part_id OR OLD.driver_part_id IS NOT NEW.driver_part_id OR
    OLD.supply_part_id IS NOT NEW.supply_part_id
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'design', NEW.id, json_object(
        'name', OLD.name, 'state', OLD.state, 'build_on', OLD.build_on, 'get_in', OLD.get_in,
        'strike_on', OLD.strike_on, 'budget_minor', OLD.budget_minor, 'note', OLD.note,
        'lead_part_id', OLD.lead_part_id, 'cable_part_id', OLD.cable_part_id,
        'block_part_id', OLD.block_part_id, 'driver_part_id', OLD.driver_part_id,
        'supply_part_id', OLD.supply_part_id), json_object(
        'name', NEW.name, 'state', NEW.state, 'build_on', NEW.build_on, 'get_in', NEW.get_in,
        'strike_on', NEW.strike_on, 'budget_minor', NEW.budget_minor, 'note', NEW.note,
        'lead_part_id', NEW.lead_part_id, 'cable_part_id', NEW.cable_part_id,
        'block_part_id', NEW.block_part_id, 'driver_part_id', NEW.driver_part_id,
        'supply_part_id', NEW.supply_part_id) FROM acting;
END;
CREATE TRIGGER design_removed_is_logged AFTER DELETE ON design
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'design', OLD.id, json_object(
        'name', OLD.name, 'state', OLD.state, 'build_on', OLD.build_on, 'get_in', OLD.get_in,
        'strike_on', OLD.strike_on, 'budget_minor', OLD.budget_minor, 'note', OLD.note,
        'lead_part_id', OLD.lead_part_id, 'cable_part_id', OLD.cable_part_id,
        'block_part_id', OLD.block_part_id, 'driver_part_id', OLD.driver_part_id,
        'supply_part_id', OLD.supply_part_id) FROM acting;
END;

CREATE TRIGGER design_frame_added_is_logged AFTER INSERT ON design_frame
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'design_frame', NEW.id, json_object(
        'design_id', NEW.design_id, 'label', NEW.label, 'x_um', NEW.x_um, 'y_um', NEW.y_um,
        'width_um', NEW.width_um, 'height_um', NEW.height_um, 'thing_id', NEW.thing_id) FROM acting;
END;
CREATE TRIGGER design_frame_changed_is_logged AFTER UPDATE ON design_frame
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.label IS NOT NEW.label OR OLD.x_um IS NOT NEW.x_um OR
    OLD.y_um IS NOT NEW.y_um OR OLD.width_um IS NOT NEW.width_um OR
    OLD.height_um IS NOT NEW.height_um OR OLD.thing_id IS NOT NEW.thing_id
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'design_frame', NEW.id, json_object(
        'design_id', OLD.design_id, 'label', OLD.label, 'x_um', OLD.x_um, 'y_um', OLD.y_um,
        'width_um', OLD.width_um, 'height_um', OLD.height_um, 'thing_id', OLD.thing_id), json_object(
        'design_id', NEW.design_id, 'label', NEW.label, 'x_um', NEW.x_um, 'y_um', NEW.y_um,
        'width_um', NEW.width_um, 'height_um', NEW.height_um, 'thing_id', NEW.thing_id) FROM acting;
END;
CREATE TRIGGER design_frame_removed_is_logged AFTER DELETE ON design_frame
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'design_frame', OLD.id, json_object(
        'design_id', OLD.design_id, 'label', OLD.label, 'x_um', OLD.x_um, 'y_um', OLD.y_um,
        'width_um', OLD.width_um, 'height_um', OLD.height_um, 'thing_id', OLD.thing_id) FROM acting;
END;

CREATE TRIGGER bar_added_is_logged AFTER INSERT ON bar
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'bar', NEW.id, json_object(
        'design_id', NEW.design_id, 'position', NEW.position, 'label', NEW.label,
        'length_um', NEW.length_um, 'shorter_um', NEW.shorter_um, 'longer_um', NEW.longer_um,
        'channels', NEW.channels, 'voltage_mv', NEW.voltage_mv, 'diffused', NEW.diffused,
        'fed', NEW.fed, 'frame_id', NEW.frame_id, 'x_um', NEW.x_um, 'y_um', NEW.y_um,
        'angle_mdeg', NEW.angle_mdeg, 'control_group', NEW.control_group, 'feed_place', NEW.feed_place,
        'cable_um', NEW.cable_um, 'tape_part_id', NEW.tape_part_id,
        'profile_part_id', NEW.profile_part_id, 'fixture_id', NEW.fixture_id) FROM acting;
END;
CREATE TRIGGER bar_changed_is_logged AFTER UPDATE ON bar
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.position IS NOT NEW.position OR
    OLD.label IS NOT NEW.label OR OLD.length_um IS NOT NEW.length_um OR
    OLD.shorter_um IS NOT NEW.shorter_um OR OLD.longer_um IS NOT NEW.longer_um OR
    OLD.channels IS NOT NEW.channels OR OLD.voltage_mv IS NOT NEW.voltage_mv OR
    OLD.diffused IS NOT NEW.diffused OR OLD.fed IS NOT NEW.fed OR OLD.frame_id IS NOT NEW.frame_id OR
    OLD.x_um IS NOT NEW.x_um OR OLD.y_um IS NOT NEW.y_um OR OLD.angle_mdeg IS NOT NEW.angle_mdeg OR
    OLD.control_group IS NOT NEW.control_group OR OLD.feed_place IS NOT NEW.feed_place OR
    OLD.cable_um IS NOT NEW.cable_um OR OLD.tape_part_id IS NOT NEW.tape_part_id OR
    OLD.profile_part_id IS NOT NEW.profile_part_id OR OLD.fixture_id IS NOT NEW.fixture_id
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'bar', NEW.id, json_object(
        'design_id', OLD.design_id, 'position', OLD.position, 'label', OLD.label,
        'length_um', OLD.length_um, 'shorter_um', OLD.shorter_um, 'longer_um', OLD.longer_um,
        'channels', OLD.channels, 'voltage_mv', OLD.voltage_mv, 'diffused', OLD.diffused,
        'fed', OLD.fed, 'frame_id', OLD.frame_id, 'x_um', OLD.x_um, 'y_um', OLD.y_um,
        'angle_mdeg', OLD.angle_mdeg, 'control_group', OLD.control_group, 'feed_place', OLD.feed_place,
        'cable_um', OLD.cable_um, 'tape_part_id', OLD.tape_part_id,
        'profile_part_id', OLD.profile_part_id, 'fixture_id', OLD.fixture_id), json_object(
        'design_id', NEW.design_id, 'position', NEW.position, 'label', NEW.label,
        'length_um', NEW.length_um, 'shorter_um', NEW.shorter_um, 'longer_um', NEW.longer_um,
        'channels', NEW.channels, 'voltage_mv', NEW.voltage_mv, 'diffused', NEW.diffused,
        'fed', NEW.fed, 'frame_id', NEW.frame_id, 'x_um', NEW.x_um, 'y_um', NEW.y_um,
        'angle_mdeg', NEW.angle_mdeg, 'control_group', NEW.control_group, 'feed_place', NEW.feed_place,
        'cable_um', NEW.cable_um, 'tape_part_id', NEW.tape_part_id,
        'profile_part_id', NEW.profile_part_id, 'fixture_id', NEW.fixture_id) FROM acting;
END;
CREATE TRIGGER bar_removed_is_logged AFTER DELETE ON bar
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'bar', OLD.id, json_object(
        'design_id', OLD.design_id, 'position', OLD.position, 'label', OLD.label,
        'length_um', OLD.length_um, 'shorter_um', OLD.shorter_um, 'longer_um', OLD.longer_um,
        'channels', OLD.channels, 'voltage_mv', OLD.voltage_mv, 'diffused', OLD.diffused,
        'fed', OLD.fed, 'frame_id', OLD.frame_id, 'x_um', OLD.x_um, 'y_um', OLD.y_um,
        'angle_mdeg', OLD.angle_mdeg, 'control_group', OLD.control_group, 'feed_place', OLD.feed_place,
        'cable_um', OLD.cable_um, 'tape_part_id', OLD.tape_part_id,
        'profile_part_id', OLD.profile_part_id, 'fixture_id', OLD.fixture_id) FROM acting;
END;

CREATE TRIGGER design_extra_added_is_logged AFTER INSERT ON design_extra
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'design_extra', NEW.id, json_object(
        'design_id', NEW.design_id, 'part_id', NEW.part_id, 'amount', NEW.amount, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_extra_changed_is_logged AFTER UPDATE ON design_extra
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.part_id IS NOT NEW.part_id OR
    OLD.amount IS NOT NEW.amount OR OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'design_extra', NEW.id, json_object(
        'design_id', OLD.design_id, 'part_id', OLD.part_id, 'amount', OLD.amount, 'note', OLD.note), json_object(
        'design_id', NEW.design_id, 'part_id', NEW.part_id, 'amount', NEW.amount, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_extra_removed_is_logged AFTER DELETE ON design_extra
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'design_extra', OLD.id, json_object(
        'design_id', OLD.design_id, 'part_id', OLD.part_id, 'amount', OLD.amount, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER limit_reason_added_is_logged AFTER INSERT ON limit_reason
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'limit_reason', NEW.design_id, json_object(
        'design_id', NEW.design_id, 'check_key', NEW.check_key, 'reason', NEW.reason, 'who', NEW.who,
        'at_ms', NEW.at_ms) FROM acting;
END;
CREATE TRIGGER limit_reason_changed_is_logged AFTER UPDATE ON limit_reason
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.check_key IS NOT NEW.check_key OR
    OLD.reason IS NOT NEW.reason OR OLD.who IS NOT NEW.who OR OLD.at_ms IS NOT NEW.at_ms
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'limit_reason', NEW.design_id, json_object(
        'design_id', OLD.design_id, 'check_key', OLD.check_key, 'reason', OLD.reason, 'who', OLD.who,
        'at_ms', OLD.at_ms), json_object(
        'design_id', NEW.design_id, 'check_key', NEW.check_key, 'reason', NEW.reason, 'who', NEW.who,
        'at_ms', NEW.at_ms) FROM acting;
END;
CREATE TRIGGER limit_reason_removed_is_logged AFTER DELETE ON limit_reason
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'limit_reason', OLD.design_id, json_object(
        'design_id', OLD.design_id, 'check_key', OLD.check_key, 'reason', OLD.reason, 'who', OLD.who,
        'at_ms', OLD.at_ms) FROM acting;
END;

CREATE TRIGGER design_left_alone_added_is_logged AFTER INSERT ON design_left_alone
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'design_left_alone', NEW.design_id, json_object(
        'design_id', NEW.design_id, 'thing_id', NEW.thing_id, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_left_alone_changed_is_logged AFTER UPDATE ON design_left_alone
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.thing_id IS NOT NEW.thing_id OR OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'design_left_alone', NEW.design_id, json_object(
        'design_id', OLD.design_id, 'thing_id', OLD.thing_id, 'note', OLD.note), json_object(
        'design_id', NEW.design_id, 'thing_id', NEW.thing_id, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_left_alone_removed_is_logged AFTER DELETE ON design_left_alone
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'design_left_alone', OLD.design_id, json_object(
        'design_id', OLD.design_id, 'thing_id', OLD.thing_id, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER design_not_from_added_is_logged AFTER INSERT ON design_not_from
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'design_not_from', NEW.design_id, json_object(
        'design_id', NEW.design_id, 'supplier_id', NEW.supplier_id, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_not_from_changed_is_logged AFTER UPDATE ON design_not_from
WHEN
    OLD.design_id IS NOT NEW.design_id OR OLD.supplier_id IS NOT NEW.supplier_id OR
    OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'design_not_from', NEW.design_id, json_object(
        'design_id', OLD.design_id, 'supplier_id', OLD.supplier_id, 'note', OLD.note), json_object(
        'design_id', NEW.design_id, 'supplier_id', NEW.supplier_id, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER design_not_from_removed_is_logged AFTER DELETE ON design_not_from
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'design_not_from', OLD.design_id, json_object(
        'design_id', OLD.design_id, 'supplier_id', OLD.supplier_id, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER purchase_added_is_logged AFTER INSERT ON purchase
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'purchase', NEW.id, json_object(
        'supplier_id', NEW.supplier_id, 'state', NEW.state, 'ordered_on', NEW.ordered_on,
        'expected_on', NEW.expected_on, 'delivery_minor', NEW.delivery_minor,
        'paid_minor', NEW.paid_minor, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_changed_is_logged AFTER UPDATE ON purchase
WHEN
    OLD.supplier_id IS NOT NEW.supplier_id OR OLD.state IS NOT NEW.state OR
    OLD.ordered_on IS NOT NEW.ordered_on OR OLD.expected_on IS NOT NEW.expected_on OR
    OLD.delivery_minor IS NOT NEW.delivery_minor OR OLD.paid_minor IS NOT NEW.paid_minor OR
    OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'purchase', NEW.id, json_object(
        'supplier_id', OLD.supplier_id, 'state', OLD.state, 'ordered_on', OLD.ordered_on,
        'expected_on', OLD.expected_on, 'delivery_minor', OLD.delivery_minor,
        'paid_minor', OLD.paid_minor, 'note', OLD.note), json_object(
        'supplier_id', NEW.supplier_id, 'state', NEW.state, 'ordered_on', NEW.ordered_on,
        'expected_on', NEW.expected_on, 'delivery_minor', NEW.delivery_minor,
        'paid_minor', NEW.paid_minor, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_removed_is_logged AFTER DELETE ON purchase
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'purchase', OLD.id, json_object(
        'supplier_id', OLD.supplier_id, 'state', OLD.state, 'ordered_on', OLD.ordered_on,
        'expected_on', OLD.expected_on, 'delivery_minor', OLD.delivery_minor,
        'paid_minor', OLD.paid_minor, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER purchase_line_added_is_logged AFTER INSERT ON purchase_line
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'purchase_line', NEW.id, json_object(
        'purchase_id', NEW.purchase_id, 'part_id', NEW.part_id, 'offer_id', NEW.offer_id,
        'design_id', NEW.design_id, 'packs', NEW.packs, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'received_packs', NEW.received_packs,
        'refused_packs', NEW.refused_packs, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_line_changed_is_logged AFTER UPDATE ON purchase_line
WHEN
    OLD.purchase_id IS NOT NEW.purchase_id OR OLD.part_id IS NOT NEW.part_id OR
    OLD.offer_id IS NOT NEW.offer_id OR OLD.design_id IS NOT NEW.design_id OR
    OLD.packs IS NOT NEW.packs OR OLD.pack_amount IS NOT NEW.pack_amount OR
    OLD.price_minor IS NOT NEW.price_minor OR OLD.received_packs IS NOT NEW.received_packs OR
    OLD.refused_packs IS NOT NEW.refused_packs OR OLD.note IS NOT NEW.note
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'purchase_line', NEW.id, json_object(
        'purchase_id', OLD.purchase_id, 'part_id', OLD.part_id, 'offer_id', OLD.offer_id,
        'design_id', OLD.design_id, 'packs', OLD.packs, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'received_packs', OLD.received_packs,
        'refused_packs', OLD.refused_packs, 'note', OLD.note), json_object(
        'purchase_id', NEW.purchase_id, 'part_id', NEW.part_id, 'offer_id', NEW.offer_id,
        'design_id', NEW.design_id, 'packs', NEW.packs, 'pack_amount', NEW.pack_amount,
        'price_minor', NEW.price_minor, 'received_packs', NEW.received_packs,
        'refused_packs', NEW.refused_packs, 'note', NEW.note) FROM acting;
END;
CREATE TRIGGER purchase_line_removed_is_logged AFTER DELETE ON purchase_line
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'purchase_line', OLD.id, json_object(
        'purchase_id', OLD.purchase_id, 'part_id', OLD.part_id, 'offer_id', OLD.offer_id,
        'design_id', OLD.design_id, 'packs', OLD.packs, 'pack_amount', OLD.pack_amount,
        'price_minor', OLD.price_minor, 'received_packs', OLD.received_packs,
        'refused_packs', OLD.refused_packs, 'note', OLD.note) FROM acting;
END;

CREATE TRIGGER person_added_is_logged AFTER INSERT ON person
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, after)
    SELECT at_ms, who, address, 'person', NEW.id, json_object(
        'name', NEW.name, 'role', NEW.role, 'signs_in', NEW.password IS NOT NULL,
        'has_pin', NEW.pin IS NOT NULL) FROM acting;
END;
CREATE TRIGGER person_changed_is_logged AFTER UPDATE ON person
WHEN
    OLD.name IS NOT NEW.name OR OLD.role IS NOT NEW.role OR OLD.password IS NOT NEW.password OR
    OLD.pin IS NOT NEW.pin
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before, after)
    SELECT at_ms, who, address, 'person', NEW.id, json_object(
        'name', OLD.name, 'role', OLD.role, 'signs_in', OLD.password IS NOT NULL,
        'has_pin', OLD.pin IS NOT NULL), json_object(
        'name', NEW.name, 'role', NEW.role, 'signs_in', NEW.password IS NOT NULL,
        'has_pin', NEW.pin IS NOT NULL) FROM acting;
END;
CREATE TRIGGER person_removed_is_logged AFTER DELETE ON person
BEGIN
    INSERT INTO change (at_ms, who, address, of, row_id, before)
    SELECT at_ms, who, address, 'person', OLD.id, json_object(
        'name', OLD.name, 'role', OLD.role, 'signs_in', OLD.password IS NOT NULL,
        'has_pin', OLD.pin IS NOT NULL) FROM acting;
END;
