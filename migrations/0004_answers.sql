-- Answers of success to requests with a key, for those who ask the same again;
-- the status stands there once it is known.
CREATE TABLE answer (
    bearer TEXT NOT NULL,
    key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    at BIGINT NOT NULL,
    taken_at BIGINT NOT NULL,
    status BIGINT,
    location TEXT,
    body TEXT,
    PRIMARY KEY (bearer, key)
);
CREATE INDEX answer_by_age ON answer (at);
