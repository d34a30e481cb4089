-- People who sign in: roles, secrets as argon2id strings (PHC), sessions, invitations, keys for
-- programs.

ALTER TABLE person ADD COLUMN role TEXT NOT NULL DEFAULT 'work'
    CONSTRAINT person_role CHECK (role IN ('look', 'work', 'keep'));
ALTER TABLE person ADD COLUMN password TEXT
    CONSTRAINT person_password_is_argon2id CHECK (password LIKE '$argon2id$%');
ALTER TABLE person ADD COLUMN pin TEXT
    CONSTRAINT person_pin_is_argon2id CHECK (pin LIKE '$argon2id$%');

-- A browser that is signed in. What its cookie holds is known by its digest only.
CREATE TABLE session (
    id INTEGER NOT NULL PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE CONSTRAINT session_digest_length CHECK (length(digest) = 32),
    person_id INTEGER NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    kind TEXT NOT NULL CONSTRAINT session_kind CHECK (kind IN ('own', 'bench')),
    began_ms INTEGER NOT NULL,
    seen_ms INTEGER NOT NULL,
    ends_ms INTEGER NOT NULL,
    address TEXT NOT NULL CONSTRAINT session_address_length CHECK (length(address) <= 60),
    agent TEXT NOT NULL CONSTRAINT session_agent_length CHECK (length(agent) <= 200)
) STRICT;
CREATE INDEX session_by_person ON session (person_id);

-- Who works at a device at the bench since its first change.
CREATE TABLE session_hand (
    session_id INTEGER NOT NULL PRIMARY KEY REFERENCES session (id) ON DELETE CASCADE,
    digest BLOB NOT NULL UNIQUE CONSTRAINT session_hand_digest_length CHECK (length(digest) = 32),
    person_id INTEGER NOT NULL REFERENCES person (id) ON DELETE CASCADE,
    ends_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX session_hand_by_person ON session_hand (person_id);

CREATE TABLE invitation (
    id INTEGER NOT NULL PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE CONSTRAINT invitation_digest_length CHECK (length(digest) = 32),
    role TEXT NOT NULL CONSTRAINT invitation_role CHECK (role IN ('look', 'work', 'keep')),
    made_by TEXT NOT NULL CONSTRAINT invitation_made_by CHECK (length(made_by) BETWEEN 1 AND 120),
    made_ms INTEGER NOT NULL,
    ends_ms INTEGER NOT NULL CONSTRAINT invitation_ends CHECK (ends_ms > made_ms)
) STRICT;

CREATE TABLE api_token (
    id INTEGER NOT NULL PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE CONSTRAINT api_token_digest_length CHECK (length(digest) = 32),
    name TEXT NOT NULL UNIQUE CONSTRAINT api_token_name_length CHECK (length(name) BETWEEN 1 AND 120),
    role TEXT NOT NULL CONSTRAINT api_token_role CHECK (role IN ('look', 'work', 'keep')),
    made_by TEXT NOT NULL CONSTRAINT api_token_made_by CHECK (length(made_by) BETWEEN 1 AND 120),
    made_ms INTEGER NOT NULL,
    ends_ms INTEGER NOT NULL CONSTRAINT api_token_ends CHECK (ends_ms > made_ms),
    seen_ms INTEGER
) STRICT;
