-- Sheets that were printed: which of a set, under which mark, and when for the first time. The mark is
-- worked out from what the sheet says, so that an old print can be told from the plan of now.
CREATE TABLE print (
    id INTEGER NOT NULL PRIMARY KEY,
    design_id INTEGER NOT NULL REFERENCES design (id) ON DELETE CASCADE,
    sheet TEXT NOT NULL CONSTRAINT print_sheet_length CHECK (length(sheet) BETWEEN 1 AND 20),
    mark TEXT NOT NULL CONSTRAINT print_mark_length CHECK (length(mark) = 6),
    first_ms INTEGER NOT NULL,
    UNIQUE (design_id, sheet, mark)
) STRICT;
CREATE INDEX print_by_mark ON print (design_id, mark);
