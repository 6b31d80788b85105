-- Sites about a place are found in rows of a fifth of a degree of latitude, along each by
-- longitude: a band of latitude around the Earth holds too many.

DROP INDEX site_version_place;
CREATE INDEX site_version_row ON site_version ((CAST(lat_deg * 5 AS INTEGER)), lon_deg);
