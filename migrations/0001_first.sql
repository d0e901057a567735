-- One text for SQLite and Postgres. Instants are seconds since 1970 in UTC,
-- documents are JSON as text, temperatures are degrees Celsius.
-- What stands behind /* clustered */ is a key that SQLite keeps the rows in.

CREATE TABLE farm (
    id TEXT PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    alert_emails TEXT NOT NULL,
    created_at BIGINT NOT NULL
);

CREATE TABLE site (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT REFERENCES farm (id),
    name TEXT NOT NULL,
    latitude DOUBLE PRECISION NOT NULL,
    longitude DOUBLE PRECISION NOT NULL,
    elevation_m DOUBLE PRECISION,
    time_zone TEXT NOT NULL,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL
);
CREATE INDEX site_of_farm ON site (farm_id, id);

-- A provider's grid cell. The lease is that of the token while lease_until is
-- set; the token only rises.
CREATE TABLE cell (
    provider TEXT NOT NULL,
    cell TEXT NOT NULL,
    next_at BIGINT NOT NULL,
    token BIGINT NOT NULL,
    lease_until BIGINT,
    last_ok_at BIGINT,
    last_error TEXT,
    PRIMARY KEY (provider, cell)
);
CREATE INDEX cell_due ON cell (next_at);

-- Numbers given out by the program, the last one of each kind.
CREATE TABLE counter (
    kind TEXT PRIMARY KEY NOT NULL,
    last BIGINT NOT NULL
);
INSERT INTO counter (kind, last) VALUES ('source', 0);
-- Raised with every change to the curves and materials below.
INSERT INTO counter (kind, last) VALUES ('catalogue', 0);

-- Readings name their source by its number: there are millions of them, and an
-- id of 36 letters would be most of each.
CREATE TABLE source (
    id TEXT PRIMARY KEY NOT NULL,
    number BIGINT NOT NULL UNIQUE,
    site_id TEXT NOT NULL REFERENCES site (id),
    name TEXT NOT NULL,
    way TEXT NOT NULL,
    provider TEXT,
    cell TEXT,
    kind TEXT NOT NULL,
    trust BIGINT NOT NULL,
    mapping TEXT,
    created_at BIGINT NOT NULL,
    UNIQUE (site_id, name),
    FOREIGN KEY (provider, cell) REFERENCES cell (provider, cell)
);
CREATE INDEX source_of_cell ON source (provider, cell);

-- The source's row is locked while its readings are written and no source is
-- ever deleted, so a foreign key here would only cost a look-up for each row.
CREATE TABLE reading (
    source BIGINT NOT NULL,
    at BIGINT NOT NULL,
    span BIGINT NOT NULL,
    celsius DOUBLE PRECISION NOT NULL,
    flag BIGINT NOT NULL,
    received_at BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    PRIMARY KEY (source, at)
) /* clustered */;

-- What a corrected reading was before.
CREATE TABLE earlier_reading (
    source BIGINT NOT NULL,
    at BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    span BIGINT NOT NULL,
    celsius DOUBLE PRECISION NOT NULL,
    flag BIGINT NOT NULL,
    received_at BIGINT NOT NULL,
    replaced_at BIGINT NOT NULL,
    PRIMARY KEY (source, at, revision)
) /* clustered */;

CREATE TABLE forecast (
    source_id TEXT NOT NULL REFERENCES source (id),
    issued_at BIGINT NOT NULL,
    fetched_at BIGINT NOT NULL,
    hours TEXT NOT NULL,
    PRIMARY KEY (source_id, issued_at, fetched_at)
);

CREATE TABLE block (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT NOT NULL REFERENCES farm (id),
    site_id TEXT NOT NULL REFERENCES site (id),
    name TEXT NOT NULL,
    details TEXT NOT NULL,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL
);
CREATE INDEX block_of_farm ON block (farm_id, id);
CREATE INDEX block_of_site ON block (site_id, id);

-- plan_version and log_version are those of plan and log_entry as they stand;
-- the reckoned_ columns are those that the season was last reckoned from.
CREATE TABLE season (
    block_id TEXT NOT NULL REFERENCES block (id),
    year BIGINT NOT NULL,
    plan_version BIGINT NOT NULL,
    log_version BIGINT NOT NULL,
    reckoned_site BIGINT,
    reckoned_block BIGINT,
    reckoned_log BIGINT,
    reckoned_plan BIGINT,
    reckoned_catalogue BIGINT,
    reckoned_program BIGINT,
    look_again_at BIGINT,
    reckoned_at BIGINT,
    state TEXT,
    doc TEXT,
    PRIMARY KEY (block_id, year)
);

CREATE TABLE plan (
    block_id TEXT NOT NULL,
    year BIGINT NOT NULL,
    version BIGINT NOT NULL,
    doc TEXT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (block_id, year, version),
    FOREIGN KEY (block_id, year) REFERENCES season (block_id, year)
);

CREATE TABLE log_entry (
    block_id TEXT NOT NULL,
    year BIGINT NOT NULL,
    id TEXT NOT NULL,
    at BIGINT NOT NULL,
    kind TEXT NOT NULL,
    doc TEXT NOT NULL,
    received_at BIGINT NOT NULL,
    PRIMARY KEY (block_id, year, id),
    FOREIGN KEY (block_id, year) REFERENCES season (block_id, year)
);

CREATE TABLE alert (
    id TEXT PRIMARY KEY NOT NULL,
    block_id TEXT NOT NULL,
    year BIGINT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    generation BIGINT NOT NULL,
    status TEXT NOT NULL,
    reason TEXT,
    about TEXT NOT NULL,
    raised_at BIGINT NOT NULL,
    useful_until BIGINT NOT NULL,
    withdrawn_at BIGINT,
    acknowledged_at BIGINT,
    UNIQUE (block_id, year, kind, subject, generation),
    FOREIGN KEY (block_id, year) REFERENCES season (block_id, year)
);

-- One mail. next_try_at is set while it is neither sent nor failed. The lease
-- is that of the token while lease_until is set; the token only rises.
CREATE TABLE message (
    id TEXT PRIMARY KEY NOT NULL,
    header_id TEXT NOT NULL UNIQUE,
    recipient TEXT NOT NULL,
    body TEXT NOT NULL,
    composed_at BIGINT NOT NULL,
    state TEXT NOT NULL,
    attempts BIGINT NOT NULL,
    next_try_at BIGINT,
    last_error TEXT,
    sent_at BIGINT,
    token BIGINT NOT NULL,
    lease_until BIGINT
);
CREATE INDEX message_waiting ON message (composed_at, id) WHERE next_try_at IS NOT NULL;

-- One alert for one recipient. It waits to be composed while it has neither a
-- message nor a reason why it gets none.
CREATE TABLE item (
    id TEXT PRIMARY KEY NOT NULL,
    alert_id TEXT NOT NULL REFERENCES alert (id),
    recipient TEXT NOT NULL,
    message_id TEXT REFERENCES message (id),
    unsent_because TEXT,
    UNIQUE (alert_id, recipient)
);
CREATE INDEX item_of_message ON item (message_id);
CREATE INDEX item_uncomposed ON item (alert_id) WHERE message_id IS NULL AND unsent_because IS NULL;

CREATE TABLE curve (
    id TEXT PRIMARY KEY NOT NULL,
    doc TEXT NOT NULL,
    at BIGINT NOT NULL
);

CREATE TABLE material (
    id TEXT PRIMARY KEY NOT NULL,
    doc TEXT NOT NULL,
    at BIGINT NOT NULL
);

CREATE TABLE api_token (
    id TEXT PRIMARY KEY NOT NULL,
    name TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE,
    created_at BIGINT NOT NULL
);
