-- What follows from the recorded tables. `noonarcd rebuild` empties these and
-- makes them anew, to the same bytes.

-- Every run reduced with the newest version of its site. NULL figures: the status says why.
CREATE TABLE reduction (
    run BIGINT PRIMARY KEY REFERENCES run (id),
    day BIGINT NOT NULL,
    site BIGINT NOT NULL,
    counts BIGINT NOT NULL,               -- 1: current (not superseded, not withdrawn) and status ok
    is_current BIGINT NOT NULL,           -- 1: not superseded, not withdrawn
    status TEXT NOT NULL,
    lat_deg DOUBLE PRECISION NOT NULL,
    lon_deg DOUBLE PRECISION NOT NULL,
    meridian_m DOUBLE PRECISION NOT NULL, -- along the ellipsoid from the equator, north positive
    transit_utc_s DOUBLE PRECISION,       -- predicted
    declination_deg DOUBLE PRECISION,     -- of the Sun at transit
    expected_deg DOUBLE PRECISION,        -- noon angle by position and date
    noon_angle_deg DOUBLE PRECISION,      -- measured, signed
    sigma_deg DOUBLE PRECISION,
    habit_sigma_deg DOUBLE PRECISION,     -- the part shared by sites that mark the same edge
    edge TEXT NOT NULL,
    gnomon_mm DOUBLE PRECISION NOT NULL,  -- height of this run's gnomon
    estimator TEXT NOT NULL,
    used BIGINT NOT NULL,                 -- readings
    left_out BIGINT NOT NULL,             -- readings
    body TEXT NOT NULL                    -- the whole reduction, JSON
);
CREATE INDEX reduction_neighbours ON reduction (day, counts, lon_deg);
CREATE INDEX reduction_day_site ON reduction (day, site, is_current);

-- Pairs are not kept: there are up to half the square of the number of sites, and
-- making one from two noons costs less than reading it back.

CREATE TABLE day_result (
    day BIGINT PRIMARY KEY REFERENCES day (id),
    method TEXT NOT NULL,                 -- version that made it
    body TEXT NOT NULL                    -- the combined result, JSON
);
