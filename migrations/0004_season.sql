-- Seasons, and what happens to a day between its opening and its end. Like the recorded
-- tables these only grow: the newest row of a kind counts, the older ones tell how it
-- came about.
-- Instants are seconds since 1970-01-01T00:00:00Z, dates days since 1970-01-01.
-- "by" columns name the credential that did it, NULL where nobody needed one.

CREATE TABLE season (
    id BIGINT PRIMARY KEY,
    season TEXT NOT NULL UNIQUE,          -- identifier people use
    created_utc_s DOUBLE PRECISION NOT NULL
);

CREATE TABLE season_version (
    season BIGINT NOT NULL REFERENCES season (id),
    version BIGINT NOT NULL,              -- 1, 2, 3 ... per season
    name TEXT NOT NULL,
    approval BIGINT NOT NULL,             -- 1: who takes part in its days is approved first
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT,
    PRIMARY KEY (season, version)
);

-- The season a day was opened in; a day without a row belongs to none.
CREATE TABLE season_day (
    day BIGINT PRIMARY KEY REFERENCES day (id),
    season BIGINT NOT NULL REFERENCES season (id)
);
CREATE INDEX season_day_season ON season_day (season, day);

-- A day without a row of a kind is announced, on its first date, and blind.
CREATE TABLE day_event (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    event TEXT NOT NULL CHECK (event IN ('state', 'move', 'blind')),
    state TEXT CHECK (state IN ('planned', 'announced', 'closed', 'cancelled')),
    date BIGINT,                          -- of a move: where to
    blind BIGINT,                         -- 1: the expected angle is told a site once it has handed in
    reason TEXT NOT NULL,                 -- '' none given
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT
);
CREATE INDEX day_event_day ON day_event (day, event, id);

-- What an organiser said to a site that wants to take part; the newest counts.
CREATE TABLE approval (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    approved BIGINT NOT NULL,             -- 1 yes, 0 no
    reason TEXT NOT NULL,                 -- '' none given
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT
);
CREATE INDEX approval_day_site ON approval (day, site, id);

-- An invitation is known by the hash of its code, like a key.
CREATE TABLE invitation (
    id BIGINT PRIMARY KEY,
    season BIGINT NOT NULL REFERENCES season (id),
    hash TEXT NOT NULL UNIQUE,            -- hex BLAKE2b-256
    name TEXT NOT NULL,                   -- of the school invited
    contact TEXT NOT NULL,                -- never public, '' none
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT
);
CREATE INDEX invitation_season ON invitation (season, id);

CREATE TABLE invitation_use (
    invitation BIGINT PRIMARY KEY REFERENCES invitation (id),
    site BIGINT NOT NULL REFERENCES site (id),
    used_utc_s DOUBLE PRECISION NOT NULL,
    used_by BIGINT
);
CREATE INDEX invitation_use_site ON invitation_use (site);

-- Neighbours of a playground, and who lies on a meridian.
CREATE INDEX site_version_place ON site_version (lat_deg, lon_deg);
CREATE INDEX site_version_lon ON site_version (lon_deg);
