-- Addresses at which a farm's seasons stand as a calendar, without signing in:
-- whoever knows the secret reads, so only its hash is kept, and one that leaked
-- is revoked alone.
CREATE TABLE calendar (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT NOT NULL REFERENCES farm (id),
    name TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE,
    made_by TEXT REFERENCES person (id),
    created_at BIGINT NOT NULL,
    last_read_at BIGINT,
    revoked_at BIGINT
);
CREATE INDEX calendar_of_farm ON calendar (farm_id, id);
