-- What serves a bar is a fixture.

UPDATE bar SET fixture_id = NULL
WHERE fixture_id IS NOT NULL AND (SELECT kind FROM thing WHERE id = bar.fixture_id) <> 'fixture';

CREATE TRIGGER bar_fixture_kind_added BEFORE INSERT ON bar
WHEN (SELECT kind FROM thing WHERE id = NEW.fixture_id) <> 'fixture'
BEGIN SELECT RAISE(ABORT, 'bar_takes_a_fixture'); END;

CREATE TRIGGER bar_fixture_kind_changed BEFORE UPDATE OF fixture_id ON bar
WHEN (SELECT kind FROM thing WHERE id = NEW.fixture_id) <> 'fixture'
BEGIN SELECT RAISE(ABORT, 'bar_takes_a_fixture'); END;
