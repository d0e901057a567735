-- Who gets a farm's alerts, and how sending them stands.

-- An address counts once its owner has confirmed it; a new one beside it
-- (`pending_email`) takes its place once that is confirmed. Addresses are kept in
-- small letters.
CREATE TABLE contact (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT NOT NULL REFERENCES farm (id),
    name TEXT NOT NULL,
    email TEXT NOT NULL,
    pending_email TEXT,
    asked_at BIGINT NOT NULL,
    confirmed_at BIGINT,
    wishes TEXT NOT NULL,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    UNIQUE (farm_id, email)
);

-- A contact wants to hear nothing of a block while its season stays in a state.
CREATE TABLE mute (
    contact_id TEXT NOT NULL REFERENCES contact (id),
    block_id TEXT NOT NULL REFERENCES block (id),
    year BIGINT NOT NULL,
    state TEXT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (contact_id, block_id, year)
);
CREATE INDEX mute_of_block ON mute (block_id, year);

-- Addresses of a farm that get nothing: their owner stopped it, or mail came back.
CREATE TABLE silenced (
    farm_id TEXT NOT NULL REFERENCES farm (id),
    email TEXT NOT NULL,
    because TEXT NOT NULL,
    detail TEXT,
    at BIGINT NOT NULL,
    PRIMARY KEY (farm_id, email, because)
);

-- Words to an address beside the alerts that are still to be composed: a change
-- that its owner is to know of.
CREATE TABLE notice (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT REFERENCES farm (id),
    recipient TEXT NOT NULL,
    kind TEXT NOT NULL,
    about TEXT NOT NULL,
    at BIGINT NOT NULL,
    message_id TEXT REFERENCES message (id),
    unsent_because TEXT
);
CREATE INDEX notice_uncomposed ON notice (at) WHERE message_id IS NULL AND unsent_because IS NULL;

-- Why an item goes out, waits or is left unsent; until when it waits; and when
-- another way was tried since it could not be delivered.
ALTER TABLE item ADD COLUMN because TEXT;
ALTER TABLE item ADD COLUMN hold_until BIGINT;
ALTER TABLE item ADD COLUMN second_at BIGINT;

-- What a message is for; until when it is worth sending where no alert says so;
-- when its failure was told; when it came back.
ALTER TABLE message ADD COLUMN purpose TEXT NOT NULL DEFAULT 'alerts';
ALTER TABLE message ADD COLUMN useful_until BIGINT;
ALTER TABLE message ADD COLUMN failure_told_at BIGINT;
ALTER TABLE message ADD COLUMN bounced_at BIGINT;
-- Whether its latest try failed before the mail server was told of it: then all
-- that waits goes out once one message has gone through.
ALTER TABLE message ADD COLUMN relay_failed BIGINT NOT NULL DEFAULT 0;
CREATE INDEX message_failed ON message (id) WHERE failure_told_at IS NULL AND (state = 'failed' OR bounced_at IS NOT NULL);
-- What had failed before this was kept is not told now.
UPDATE message SET failure_told_at = composed_at WHERE state = 'failed';

-- Instances that send, by the name of their journal. After a restore nothing goes
-- out until each of them has read its own (`must_read`), or an operator lets
-- it go.
CREATE TABLE instance (
    name TEXT PRIMARY KEY NOT NULL,
    seen_at BIGINT NOT NULL,
    must_read BIGINT NOT NULL
);

-- What a journal says went out, or may have, that a restored database does not know.
CREATE TABLE journaled (
    block_id TEXT NOT NULL,
    year BIGINT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    generation BIGINT NOT NULL,
    recipient TEXT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (block_id, year, kind, subject, generation, recipient)
);

-- Secrets of the house, by what they are for.
CREATE TABLE house_key (
    kind TEXT PRIMARY KEY NOT NULL,
    secret TEXT NOT NULL
);
