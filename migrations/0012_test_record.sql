-- What was tried, by whom and when: at the bench or before a show. Only ever added to.
CREATE TABLE test_record (
    id INTEGER NOT NULL PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    on_date TEXT NOT NULL CONSTRAINT test_record_on_date CHECK (on_date IS date(on_date)),
    who TEXT NOT NULL CONSTRAINT test_record_who CHECK (length(who) BETWEEN 1 AND 120),
    kind TEXT NOT NULL CONSTRAINT test_record_kind CHECK (kind IN ('bench', 'pre_show')),
    thing_id INTEGER NOT NULL REFERENCES thing (id),
    design_id INTEGER REFERENCES design (id),
    -- Colours that did not light as they should, as JSON.
    dark TEXT NOT NULL CONSTRAINT test_record_dark_is_json CHECK (json_valid(dark)),
    -- Whether everything together, at full, was as it should be.
    full_good INTEGER NOT NULL CONSTRAINT test_record_full_good CHECK (full_good IN (0, 1)),
    -- Measured at the far end, warm, with everything on.
    far_mv INTEGER CONSTRAINT test_record_far_mv CHECK (far_mv BETWEEN 0 AND 60000),
    note TEXT NOT NULL DEFAULT '' CONSTRAINT test_record_note_length CHECK (length(note) <= 4000)
) STRICT;
CREATE INDEX test_record_by_thing ON test_record (thing_id, id);

CREATE TRIGGER test_record_is_kept BEFORE UPDATE ON test_record
BEGIN SELECT RAISE(ABORT, 'test_record_is_append_only'); END;
CREATE TRIGGER test_record_is_not_removed BEFORE DELETE ON test_record
BEGIN SELECT RAISE(ABORT, 'test_record_is_append_only'); END;
