-- What people told us. These tables only ever grow: there is no statement in the
-- program that changes or removes a row of them.
-- Instants are seconds since 1970-01-01T00:00:00Z, dates days since 1970-01-01.
-- "by" columns name the credential that did it, NULL where nobody needed one.
-- Texts compare by bytes: a store elsewhere must use the C collation.

CREATE TABLE site (
    id BIGINT PRIMARY KEY,
    site TEXT NOT NULL UNIQUE,            -- identifier people use
    created_utc_s DOUBLE PRECISION NOT NULL
);

-- Where a key lives, never the key: hex BLAKE2b-256 of its normal form.
CREATE TABLE credential (
    id BIGINT PRIMARY KEY,
    hash TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL CHECK (role IN ('class', 'school', 'organiser')),
    site BIGINT REFERENCES site (id),     -- NULL for an organiser
    name TEXT NOT NULL,                   -- of an organiser, else ''
    created_utc_s DOUBLE PRECISION NOT NULL,
    created_by BIGINT                     -- credential.id
);
CREATE INDEX credential_site ON credential (site);

CREATE TABLE revocation (
    credential BIGINT PRIMARY KEY REFERENCES credential (id),
    revoked_utc_s DOUBLE PRECISION NOT NULL,
    revoked_by BIGINT
);

-- The newest version counts; the older ones tell how it came about.
CREATE TABLE site_version (
    site BIGINT NOT NULL REFERENCES site (id),
    version BIGINT NOT NULL,              -- 1, 2, 3 ... per site
    name TEXT NOT NULL,
    lat_deg DOUBLE PRECISION NOT NULL,    -- WGS 84, north positive
    lon_deg DOUBLE PRECISION NOT NULL,    -- WGS 84, east positive
    elev_m DOUBLE PRECISION NOT NULL,     -- above sea level
    zone TEXT NOT NULL,                   -- tz database name, '' none
    gnomon_mm DOUBLE PRECISION,           -- height of the usual gnomon, NULL none
    edge TEXT NOT NULL CHECK (edge IN ('umbra', 'penumbra', 'centre')),
    contact TEXT NOT NULL,                -- never public
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT,
    PRIMARY KEY (site, version)
);

CREATE TABLE day (
    id BIGINT PRIMARY KEY,
    day TEXT NOT NULL UNIQUE,             -- identifier people use
    name TEXT NOT NULL,
    date BIGINT NOT NULL,                 -- days since 1970-01-01
    lon_tolerance_deg DOUBLE PRECISION NOT NULL,
    min_separation_km DOUBLE PRECISION NOT NULL,
    max_sigma_km DOUBLE PRECISION,        -- NULL none
    opened_utc_s DOUBLE PRECISION NOT NULL,
    opened_by BIGINT
);
CREATE INDEX day_date ON day (date, day);

CREATE TABLE spare_date (
    day BIGINT NOT NULL REFERENCES day (id),
    place BIGINT NOT NULL,                -- 0, 1 ... in the order given
    date BIGINT NOT NULL,                 -- days since 1970-01-01
    PRIMARY KEY (day, place)
);

-- The newest event of a site on a day counts.
CREATE TABLE participation (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    event TEXT NOT NULL CHECK (event IN ('join', 'leave')),
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT
);
CREATE INDEX participation_day_site ON participation (day, site, id);

-- A run is one record: all readings of one site on one day, as sent.
CREATE TABLE run (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    supersedes BIGINT UNIQUE REFERENCES run (id), -- the run this one corrects, NULL none
    body TEXT NOT NULL,                   -- JSON, byte for byte
    submitted_utc_s DOUBLE PRECISION NOT NULL,
    submitted_by BIGINT NOT NULL REFERENCES credential (id),
    idempotency_key TEXT,                 -- NULL for a spreadsheet's
    body_hash TEXT NOT NULL,              -- hex BLAKE2b-256 of day, site and body
    answer TEXT NOT NULL,                 -- body of the first answer, '' for a spreadsheet's
    UNIQUE (submitted_by, idempotency_key)
);
CREATE INDEX run_day_site ON run (day, site, id);
CREATE INDEX run_site ON run (site);

CREATE TABLE withdrawal (
    run BIGINT PRIMARY KEY REFERENCES run (id),
    reason TEXT NOT NULL,                 -- '' none given
    withdrawn_utc_s DOUBLE PRECISION NOT NULL,
    withdrawn_by BIGINT
);
