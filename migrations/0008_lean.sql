-- A run is taken in by the dozen a second on the day: what it asks for is numbered by its
-- own key and has the indexes that a question needs, no more. A reduction's full text is
-- made from the run whenever it is asked for. Instants are seconds since
-- 1970-01-01T00:00:00Z, dates days since 1970-01-01.

CREATE TABLE site_new (
    id INTEGER PRIMARY KEY,
    site TEXT NOT NULL UNIQUE,            -- identifier people use
    created_utc_s DOUBLE PRECISION NOT NULL
);
INSERT INTO site_new (id, site, created_utc_s) SELECT id, site, created_utc_s FROM site ORDER BY id;
DROP TABLE site;
ALTER TABLE site_new RENAME TO site;

CREATE TABLE credential_new (
    id INTEGER PRIMARY KEY,
    hash TEXT NOT NULL UNIQUE,            -- hex BLAKE2b-256 of the key's normal form
    role TEXT NOT NULL CHECK (role IN ('class', 'school', 'organiser')),
    site BIGINT REFERENCES site (id),     -- NULL for an organiser
    name TEXT NOT NULL,                   -- of an organiser, else ''
    created_utc_s DOUBLE PRECISION NOT NULL,
    created_by BIGINT,                    -- credential.id
    expires_utc_s DOUBLE PRECISION        -- NULL never
);
INSERT INTO credential_new (id, hash, role, site, name, created_utc_s, created_by, expires_utc_s)
    SELECT id, hash, role, site, name, created_utc_s, created_by, expires_utc_s
    FROM credential ORDER BY id;
DROP TABLE credential;
ALTER TABLE credential_new RENAME TO credential;
CREATE INDEX credential_site ON credential (site);

CREATE TABLE revocation_new (
    credential INTEGER PRIMARY KEY REFERENCES credential (id),
    revoked_utc_s DOUBLE PRECISION NOT NULL,
    revoked_by BIGINT                     -- credential.id
);
INSERT INTO revocation_new (credential, revoked_utc_s, revoked_by)
    SELECT credential, revoked_utc_s, revoked_by FROM revocation ORDER BY credential;
DROP TABLE revocation;
ALTER TABLE revocation_new RENAME TO revocation;

CREATE TABLE day_new (
    id INTEGER PRIMARY KEY,
    day TEXT NOT NULL UNIQUE,             -- identifier people use
    name TEXT NOT NULL,
    date BIGINT NOT NULL,                 -- days since 1970-01-01
    lon_tolerance_deg DOUBLE PRECISION NOT NULL,
    min_separation_km DOUBLE PRECISION NOT NULL,
    max_sigma_km DOUBLE PRECISION,        -- NULL none
    opened_utc_s DOUBLE PRECISION NOT NULL,
    opened_by BIGINT,                     -- credential.id
    clock_bound_s DOUBLE PRECISION DEFAULT 15, -- a clock farther off is flagged
    clock_rule TEXT NOT NULL DEFAULT 'keep' -- or 'correct': what is done with its times
);
INSERT INTO day_new (id, day, name, date, lon_tolerance_deg, min_separation_km, max_sigma_km,
                     opened_utc_s, opened_by, clock_bound_s, clock_rule)
    SELECT id, day, name, date, lon_tolerance_deg, min_separation_km, max_sigma_km, opened_utc_s,
           opened_by, clock_bound_s, clock_rule
    FROM day ORDER BY id;
DROP TABLE day;
ALTER TABLE day_new RENAME TO day;
CREATE INDEX day_date ON day (date, day);

CREATE TABLE run_new (
    id INTEGER PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    supersedes BIGINT REFERENCES run (id), -- the run this one corrects, NULL none
    body TEXT NOT NULL,                    -- JSON, byte for byte
    submitted_utc_s DOUBLE PRECISION NOT NULL, -- since 1970-01-01T00:00:00Z
    submitted_by BIGINT NOT NULL REFERENCES credential (id),
    idempotency_key TEXT,                  -- NULL for a spreadsheet's
    body_hash TEXT NOT NULL,               -- hex BLAKE2b-256 of day, site and body
    answer TEXT NOT NULL                   -- body of the first answer, '' for a spreadsheet's
);
INSERT INTO run_new (id, day, site, supersedes, body, submitted_utc_s, submitted_by,
                     idempotency_key, body_hash, answer)
    SELECT id, day, site, supersedes, body, submitted_utc_s, submitted_by, idempotency_key,
           body_hash, answer FROM run ORDER BY id;
DROP TABLE run;
ALTER TABLE run_new RENAME TO run;
CREATE UNIQUE INDEX run_supersedes ON run (supersedes) WHERE supersedes IS NOT NULL;
CREATE UNIQUE INDEX run_answered ON run (submitted_by, idempotency_key)
    WHERE idempotency_key IS NOT NULL;
CREATE INDEX run_site_day ON run (site, day, id);

CREATE TABLE withdrawal_new (
    run INTEGER PRIMARY KEY REFERENCES run (id),
    reason TEXT NOT NULL,                 -- '' none given
    withdrawn_utc_s DOUBLE PRECISION NOT NULL,
    withdrawn_by BIGINT                   -- credential.id
);
INSERT INTO withdrawal_new (run, reason, withdrawn_utc_s, withdrawn_by)
    SELECT run, reason, withdrawn_utc_s, withdrawn_by FROM withdrawal ORDER BY run;
DROP TABLE withdrawal;
ALTER TABLE withdrawal_new RENAME TO withdrawal;

CREATE TABLE reduction_new (
    run INTEGER PRIMARY KEY REFERENCES run (id),
    day BIGINT NOT NULL,
    site BIGINT NOT NULL,
    counts BIGINT NOT NULL,               -- 1: current, status ok, and not excluded
    is_current BIGINT NOT NULL,           -- 1: not superseded, not withdrawn
    status TEXT NOT NULL,
    lat_deg DOUBLE PRECISION NOT NULL,    -- WGS 84, north positive, as it was reduced
    lon_deg DOUBLE PRECISION NOT NULL,    -- WGS 84, east positive, as it was reduced
    meridian_m DOUBLE PRECISION NOT NULL, -- along the ellipsoid from the equator, north positive
    transit_utc_s DOUBLE PRECISION,       -- predicted, since 1970-01-01T00:00:00Z
    declination_deg DOUBLE PRECISION,     -- of the Sun at transit
    expected_deg DOUBLE PRECISION,        -- noon angle by position and date
    noon_angle_deg DOUBLE PRECISION,      -- measured, signed; NULL: the status says why
    sigma_deg DOUBLE PRECISION,
    habit_sigma_deg DOUBLE PRECISION,     -- the part shared by sites that mark the same edge
    edge TEXT NOT NULL,
    gnomon_mm DOUBLE PRECISION NOT NULL,  -- height of this run's gnomon
    estimator TEXT NOT NULL,
    used BIGINT NOT NULL,                 -- readings
    left_out BIGINT NOT NULL              -- readings
);
INSERT INTO reduction_new (run, day, site, counts, is_current, status, lat_deg, lon_deg,
                           meridian_m, transit_utc_s, declination_deg, expected_deg,
                           noon_angle_deg, sigma_deg, habit_sigma_deg, edge, gnomon_mm,
                           estimator, used, left_out)
    SELECT run, day, site, counts, is_current, status, lat_deg, lon_deg, meridian_m,
           transit_utc_s, declination_deg, expected_deg, noon_angle_deg, sigma_deg,
           habit_sigma_deg, edge, gnomon_mm, estimator, used, left_out
    FROM reduction ORDER BY run;
DROP TABLE reduction;
ALTER TABLE reduction_new RENAME TO reduction;
CREATE INDEX reduction_day_site ON reduction (day, site);
-- What a day leaves out is told with its figures, whenever they are made: found without a
-- look at all that counts.
CREATE INDEX reduction_idle ON reduction (day) WHERE counts = 0 AND is_current = 1;

CREATE TABLE audit_new (
    id INTEGER PRIMARY KEY,
    at_utc_s DOUBLE PRECISION NOT NULL,   -- since 1970-01-01T00:00:00Z
    by_credential BIGINT,                 -- credential.id, NULL: none was needed
    by_role TEXT NOT NULL,                -- anyone, class, school, organiser; operator: at the machine
    action TEXT NOT NULL,                 -- such as 'site.revise'
    subject TEXT NOT NULL,                -- address below /api/v1/, such as 'days/equinox/sites/puna'
    detail TEXT NOT NULL                  -- a few plain words, '' none
);
INSERT INTO audit_new (id, at_utc_s, by_credential, by_role, action, subject, detail)
    SELECT id, at_utc_s, by_credential, by_role, action, subject, detail FROM audit ORDER BY id;
DROP TABLE audit;
ALTER TABLE audit_new RENAME TO audit;
