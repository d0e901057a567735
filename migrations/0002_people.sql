-- People, what they may do on which farm, and what they come in with.

-- A password is its argon2id hash; none until the person chose one. Addresses
-- are kept in small letters.
CREATE TABLE person (
    id TEXT PRIMARY KEY NOT NULL,
    email TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    password TEXT,
    operator BIGINT NOT NULL,
    created_at BIGINT NOT NULL
);

CREATE TABLE membership (
    person_id TEXT NOT NULL REFERENCES person (id),
    farm_id TEXT NOT NULL REFERENCES farm (id),
    role TEXT NOT NULL,
    since BIGINT NOT NULL,
    PRIMARY KEY (person_id, farm_id)
);
CREATE INDEX membership_of_farm ON membership (farm_id, person_id);

-- Tokens of the API and sign-ins, each as the hash of its secret. One without a
-- person is the operator's first token.
CREATE TABLE credential (
    id TEXT PRIMARY KEY NOT NULL,
    kind TEXT NOT NULL,
    person_id TEXT REFERENCES person (id),
    name TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE,
    scope TEXT NOT NULL,
    created_at BIGINT NOT NULL,
    expires_at BIGINT,
    last_used_at BIGINT,
    revoked_at BIGINT
);
CREATE INDEX credential_of_person ON credential (person_id, id);
INSERT INTO credential (id, kind, name, hash, scope, created_at)
    SELECT id, 'token', name, hash, 'write', created_at FROM api_token;
DROP TABLE api_token;

-- What a link in a mail or on a screen lets its bearer do, once.
CREATE TABLE link (
    id TEXT PRIMARY KEY NOT NULL,
    kind TEXT NOT NULL,
    hash TEXT NOT NULL UNIQUE,
    email TEXT,
    farm_id TEXT REFERENCES farm (id),
    role TEXT,
    made_by TEXT REFERENCES person (id),
    created_at BIGINT NOT NULL,
    expires_at BIGINT NOT NULL,
    used_at BIGINT
);

-- Attempts to sign in, counted from `since` on.
CREATE TABLE attempt (
    key TEXT PRIMARY KEY NOT NULL,
    number BIGINT NOT NULL,
    since BIGINT NOT NULL
);
