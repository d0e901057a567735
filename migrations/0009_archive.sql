-- The members of an ensemble as they were issued, the control first.
CREATE TABLE members (
    source_id TEXT NOT NULL REFERENCES source (id),
    issued_at BIGINT NOT NULL,
    fetched_at BIGINT NOT NULL,
    hours TEXT NOT NULL,
    PRIMARY KEY (source_id, issued_at)
);

-- Files of the watched folder as they were when they were last looked at, and,
-- once they rested, when they were read and what came of it.
CREATE TABLE taken_file (
    source_id TEXT NOT NULL REFERENCES source (id),
    name TEXT NOT NULL,
    size BIGINT NOT NULL,
    modified_at BIGINT NOT NULL,
    seen_at BIGINT NOT NULL,
    taken_at BIGINT,
    stored BIGINT NOT NULL,
    content TEXT,
    fault TEXT,
    PRIMARY KEY (source_id, name)
);
