-- The day itself: what schools say of their sky, who is whose partner, and how a
-- clock is judged. Only ever grows, like the other recorded tables.

-- The newest report of a site on a day counts.
CREATE TABLE sky_report (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    sky TEXT NOT NULL CHECK (sky IN ('clear', 'broken', 'overcast', 'gone_home')),
    reported_utc_s DOUBLE PRECISION NOT NULL,
    reported_by BIGINT                    -- credential.id
);
CREATE INDEX sky_report_day_site ON sky_report (day, site, id);

-- Each time an organiser had the partners of a day chosen; the newest counts.
CREATE TABLE partnering (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    method TEXT NOT NULL,                 -- version of the way they were chosen
    recorded_utc_s DOUBLE PRECISION NOT NULL,
    recorded_by BIGINT
);
CREATE INDEX partnering_day ON partnering (day, id);

-- Who was given to whom. 'assigned' (by a partnering; two rows of the same one where
-- three schools work together, partner NULL where nobody was left) and 'offered'
-- (during the day, in place of one who cannot see the Sun) replace what was before;
-- 'second' comes beside it.
CREATE TABLE partner_event (
    id BIGINT PRIMARY KEY,
    day BIGINT NOT NULL REFERENCES day (id),
    site BIGINT NOT NULL REFERENCES site (id),
    partner BIGINT REFERENCES site (id),
    kind TEXT NOT NULL CHECK (kind IN ('assigned', 'offered', 'second')),
    partnering BIGINT REFERENCES partnering (id), -- of an 'assigned' one
    because BIGINT REFERENCES site (id),  -- whose cloud or leaving led to it, NULL none
    expected_sigma_km DOUBLE PRECISION,   -- of the circumference from the two, NULL with partner
    recorded_utc_s DOUBLE PRECISION NOT NULL
);
CREATE INDEX partner_event_day_site ON partner_event (day, site, id);

-- A class's clock measured against the server's: more than this off (s, NULL: no
-- bound) and the run is flagged; 'correct' then also takes the offset out.
ALTER TABLE day ADD COLUMN clock_bound_s DOUBLE PRECISION DEFAULT 15;
ALTER TABLE day ADD COLUMN clock_rule TEXT NOT NULL DEFAULT 'keep';
