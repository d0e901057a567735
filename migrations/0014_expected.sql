-- What was expected of a season's start or of a leg's mark when a forecast came in, kept
-- as it was said. Of the forecasts of six hours (`stretch`) the first counts.
CREATE TABLE expectation (
    block_id TEXT NOT NULL,
    year BIGINT NOT NULL,
    subject TEXT NOT NULL,
    stretch BIGINT NOT NULL,
    issued_at BIGINT NOT NULL,
    odds TEXT NOT NULL,
    PRIMARY KEY (block_id, year, subject, stretch),
    FOREIGN KEY (block_id, year) REFERENCES season (block_id, year)
);
