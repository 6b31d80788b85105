-- A registration that comes again under its Idempotency-Key is answered again. Its two
-- secrets are made from that key and a salt, so that neither they nor the key are kept:
-- the key by its hash, the secrets where all secrets live. Forgotten after a time, and
-- with the school. Instants are seconds since 1970-01-01T00:00:00Z.

CREATE TABLE registration (
    site INTEGER PRIMARY KEY REFERENCES site (id),
    key_hash TEXT NOT NULL UNIQUE,        -- hex BLAKE2b-256 of the Idempotency-Key
    body_hash TEXT NOT NULL,              -- hex BLAKE2b-256 of the body
    salt TEXT NOT NULL,                   -- hex
    registered_utc_s DOUBLE PRECISION NOT NULL
);
