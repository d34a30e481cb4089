-- The venue's settings, its people and places, and the revision that every commit raises.

CREATE TABLE venue (
    id INTEGER NOT NULL PRIMARY KEY CONSTRAINT venue_is_one_row CHECK (id = 1),
    name TEXT NOT NULL CONSTRAINT venue_name_length CHECK (length(name) BETWEEN 1 AND 120),
    length_unit TEXT NOT NULL CONSTRAINT venue_length_unit CHECK (length_unit IN ('mm', 'cm', 'm', 'in', 'ft')),
    currency TEXT NOT NULL CONSTRAINT venue_currency CHECK (length(currency) = 3),
    currency_digits INTEGER NOT NULL CONSTRAINT venue_currency_digits CHECK (currency_digits BETWEEN 0 AND 3),
    prices_include_tax INTEGER NOT NULL CONSTRAINT venue_prices_include_tax CHECK (prices_include_tax IN (0, 1)),
    zone TEXT NOT NULL CONSTRAINT venue_zone_length CHECK (length(zone) BETWEEN 1 AND 60),
    slots_taken TEXT NOT NULL CONSTRAINT venue_slots_taken_length CHECK (length(slots_taken) <= 400),
    usable_offcut_um INTEGER NOT NULL CONSTRAINT venue_usable_offcut CHECK (usable_offcut_um BETWEEN 0 AND 1000000000),
    spare_percent INTEGER NOT NULL CONSTRAINT venue_spare_percent CHECK (spare_percent BETWEEN 0 AND 100),
    same_day_turnaround INTEGER NOT NULL CONSTRAINT venue_same_day CHECK (same_day_turnaround IN (0, 1)),
    order_slack_days INTEGER NOT NULL CONSTRAINT venue_order_slack CHECK (order_slack_days BETWEEN 0 AND 60),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

INSERT INTO venue (id, name, length_unit, currency, currency_digits, prices_include_tax, zone,
                   slots_taken, usable_offcut_um, spare_percent, same_day_turnaround, order_slack_days)
VALUES (1, 'Our venue', 'mm', 'EUR', 2, 1, 'UTC', '', 150000, 0, 0, 3);

-- One number that every commit raises: page tags and 'has anything changed' rest on it.
CREATE TABLE revision (
    id INTEGER NOT NULL PRIMARY KEY CONSTRAINT revision_is_one_row CHECK (id = 1),
    value INTEGER NOT NULL
) STRICT;
INSERT INTO revision (id, value) VALUES (1, 1);

-- Names to choose from as 'who'.
CREATE TABLE person (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CONSTRAINT person_name_length CHECK (length(name) BETWEEN 1 AND 120)
) STRICT;

CREATE TABLE place (
    id INTEGER NOT NULL PRIMARY KEY,
    parent_id INTEGER REFERENCES place (id),
    name TEXT NOT NULL CONSTRAINT place_name_length CHECK (length(name) BETWEEN 1 AND 120),
    kind TEXT NOT NULL CONSTRAINT place_kind CHECK (kind IN ('room', 'shelf', 'box')),
    -- Order along which one walks; also how near two places are.
    position INTEGER NOT NULL DEFAULT 0,
    note TEXT NOT NULL DEFAULT '',
    retired INTEGER NOT NULL DEFAULT 0 CONSTRAINT place_retired CHECK (retired IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE UNIQUE INDEX place_name_in_parent ON place (coalesce(parent_id, 0), name COLLATE NOCASE);

CREATE TRIGGER place_not_in_itself BEFORE UPDATE OF parent_id ON place
WHEN NEW.parent_id IN (
    WITH RECURSIVE below (id) AS (
        SELECT NEW.id UNION SELECT place.id FROM place JOIN below ON place.parent_id = below.id
    ) SELECT id FROM below)
BEGIN SELECT RAISE(ABORT, 'place_not_in_itself'); END;

-- Keys of forms already carried out, with where their answer led: a second press changes nothing.
CREATE TABLE press (
    key TEXT NOT NULL PRIMARY KEY CONSTRAINT press_key_length CHECK (length(key) BETWEEN 8 AND 200),
    -- A digest of what was asked, to tell a repeat from another request under the same key.
    request TEXT NOT NULL,
    answer TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX press_age ON press (at_ms);
