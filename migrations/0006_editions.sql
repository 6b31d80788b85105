-- Review of runs, and published editions. The first three tables are recorded: they
-- only ever grow. Instants are seconds since 1970-01-01T00:00:00Z.

-- What was said about a run: an organiser asks its school, the school answers, an
-- organiser leaves the run out (exclude) or lets it count (accept). Of exclude and
-- accept the newest holds; nothing is deleted.
CREATE TABLE review (
    id BIGINT PRIMARY KEY,
    run BIGINT NOT NULL REFERENCES run (id),
    verdict TEXT NOT NULL CHECK (verdict IN ('ask', 'answer', 'exclude', 'accept')),
    reason TEXT NOT NULL,                 -- in the words of whoever said it
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT                    -- credential.id
);
CREATE INDEX review_run ON review (run, id);

-- What a school lets editions keep of it for good: its name and identifier with its
-- readings (named), the readings alone (unnamed), nothing (none). The newest row of a
-- site holds for editions published from then on; none recorded: named.
CREATE TABLE edition_consent (
    id BIGINT PRIMARY KEY,
    site BIGINT NOT NULL REFERENCES site (id),
    keeps TEXT NOT NULL CHECK (keeps IN ('named', 'unnamed', 'none')),
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT                    -- credential.id
);
CREATE INDEX edition_consent_site ON edition_consent (site, id);

-- A published result. bundle is canonical JSON (RFC 8785), never changed, and is what
-- sha256 names; a correction is another edition that replaces this one.
CREATE TABLE edition (
    number BIGINT PRIMARY KEY,            -- 1, 2, 3 ... over all days and seasons
    kind TEXT NOT NULL CHECK (kind IN ('day', 'season')),
    subject TEXT NOT NULL,                -- identifier of the day or season
    replaces BIGINT UNIQUE REFERENCES edition (number), -- NULL: the first of its subject
    method TEXT NOT NULL,                 -- version that made it
    sha256 TEXT NOT NULL,                 -- of bundle, lower-case hex
    head TEXT NOT NULL,                   -- what lists show of it, JSON
    bundle TEXT NOT NULL,
    published_utc_s DOUBLE PRECISION NOT NULL,
    published_by BIGINT                   -- credential.id
);
CREATE INDEX edition_subject ON edition (kind, subject, number);

-- Derived, like reduction: what a reduction gives reason to look at. `noonarcd
-- rebuild` makes these anew.
CREATE TABLE run_flag (
    run BIGINT NOT NULL REFERENCES run (id),
    flag TEXT NOT NULL,                   -- stable name
    words TEXT NOT NULL,                  -- for people
    PRIMARY KEY (run, flag)
);
