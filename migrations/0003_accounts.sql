-- People: who changed what, organisers who log in, secrets that end, and what a school
-- lets out of its position.
-- Instants are seconds since 1970-01-01T00:00:00Z. Unlike the recorded tables some of
-- these change: a password is replaced, a session ends, and what is kept of people is
-- erased when they ask for it or when its time is over (`noonarcd purge`, the removal of
-- a school). Erasing reaches the texts of the recorded tables too; their numbers stay.

-- One line a change, written in the change's own transaction. A line names things by
-- their address, never by a person's words: no names, contacts, or secrets.
CREATE TABLE audit (
    id BIGINT PRIMARY KEY,
    at_utc_s DOUBLE PRECISION NOT NULL,
    by_credential BIGINT,                 -- credential.id, NULL: none was needed
    by_role TEXT NOT NULL,                -- anyone, class, school, organiser; operator: at the machine
    action TEXT NOT NULL,                 -- such as 'site.revise'
    subject TEXT NOT NULL,                -- address below /api/v1/, such as 'days/equinox/sites/puna'
    detail TEXT NOT NULL                  -- a few plain words, '' none
);

-- An organiser who logs in by name and password: a credential nobody has the key of.
CREATE TABLE password (
    credential BIGINT PRIMARY KEY REFERENCES credential (id),
    hash TEXT NOT NULL,                   -- Argon2id with salt and cost, as libsodium writes it
    set_utc_s DOUBLE PRECISION NOT NULL,
    set_by BIGINT                         -- credential.id, NULL: at the machine
);

-- Somebody logged in: acts as the credential until it ends or that one is revoked.
CREATE TABLE session (
    hash TEXT PRIMARY KEY,                -- hex BLAKE2b-256 of the token
    credential BIGINT NOT NULL REFERENCES credential (id),
    started_utc_s DOUBLE PRECISION NOT NULL,
    expires_utc_s DOUBLE PRECISION NOT NULL
);
CREATE INDEX session_credential ON session (credential);

-- When a code stops working by itself, NULL never.
ALTER TABLE credential ADD COLUMN expires_utc_s DOUBLE PRECISION;

-- Decimals of a degree of the position that the school lets out, NULL all.
ALTER TABLE site_version ADD COLUMN position_decimals BIGINT;

-- A school that was taken out: its site goes by another identifier and has no name,
-- contact or exact position any more, and nobody has a key to it.
CREATE TABLE removal (
    site BIGINT PRIMARY KEY REFERENCES site (id),
    removed_utc_s DOUBLE PRECISION NOT NULL,
    removed_by BIGINT,                    -- credential.id, NULL: at the machine
    reason TEXT NOT NULL                  -- '' none given
);
