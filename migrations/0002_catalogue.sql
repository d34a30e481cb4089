-- Kinds of things one can own, and who sells them.

CREATE TABLE part (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE CONSTRAINT part_name_length CHECK (length(name) BETWEEN 1 AND 120),
    kind TEXT NOT NULL CONSTRAINT part_kind CHECK (kind IN
        ('tape', 'profile', 'lead', 'coupler', 'block', 'cable', 'driver', 'supply', 'data', 'sundry')),
    stock_by TEXT NOT NULL CONSTRAINT part_stock_by CHECK (stock_by =
        CASE WHEN kind IN ('tape', 'profile', 'cable') THEN 'length'
             WHEN kind IN ('driver', 'supply') THEN 'unit' ELSE 'count' END),
    code TEXT NOT NULL DEFAULT '' CONSTRAINT part_code_length CHECK (length(code) <= 120),
    -- Attributes as JSON; the code's types say which there are.
    spec TEXT NOT NULL CONSTRAINT part_spec_is_json CHECK (json_valid(spec))
        CONSTRAINT part_spec_kind CHECK (json_extract(spec, '$.kind') = kind),
    typical INTEGER NOT NULL CONSTRAINT part_typical CHECK (typical IN (0, 1)),
    -- Which ready-made part it was taken from, if any.
    ready_made TEXT UNIQUE,
    note TEXT NOT NULL DEFAULT '' CONSTRAINT part_note_length CHECK (length(note) <= 4000),
    retired INTEGER NOT NULL DEFAULT 0 CONSTRAINT part_retired CHECK (retired IN (0, 1)),
    -- Name, kind and attributes in words, in lower case, for search.
    words TEXT NOT NULL,
    version INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX part_by_kind ON part (kind, name);

CREATE TABLE supplier (
    id INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE CONSTRAINT supplier_name_length CHECK (length(name) BETWEEN 1 AND 120),
    delivery_days INTEGER NOT NULL CONSTRAINT supplier_delivery_days CHECK (delivery_days BETWEEN 0 AND 365),
    delivery_minor INTEGER NOT NULL CONSTRAINT supplier_delivery CHECK (delivery_minor >= 0),
    free_above_minor INTEGER CONSTRAINT supplier_free_above CHECK (free_above_minor >= 0),
    note TEXT NOT NULL DEFAULT '',
    retired INTEGER NOT NULL DEFAULT 0 CONSTRAINT supplier_retired CHECK (retired IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;

CREATE TABLE offer (
    id INTEGER NOT NULL PRIMARY KEY,
    part_id INTEGER NOT NULL REFERENCES part (id),
    supplier_id INTEGER NOT NULL REFERENCES supplier (id),
    -- In the part's stock unit, but micrometres for everything kept by length.
    pack_amount INTEGER NOT NULL CONSTRAINT offer_pack CHECK (pack_amount > 0),
    price_minor INTEGER NOT NULL CONSTRAINT offer_price CHECK (price_minor >= 0),
    minimum_packs INTEGER NOT NULL DEFAULT 1 CONSTRAINT offer_minimum CHECK (minimum_packs >= 1),
    code TEXT NOT NULL DEFAULT '',
    retired INTEGER NOT NULL DEFAULT 0 CONSTRAINT offer_retired CHECK (retired IN (0, 1)),
    version INTEGER NOT NULL DEFAULT 1
) STRICT;
CREATE INDEX offer_by_part ON offer (part_id);
CREATE INDEX offer_by_supplier ON offer (supplier_id);
