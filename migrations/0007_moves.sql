-- Where a block was before it was moved: until when its temperature came from
-- which site. Where it is now stands with the block.
CREATE TABLE stay (
    block_id TEXT NOT NULL REFERENCES block (id),
    until BIGINT NOT NULL,
    site_id TEXT NOT NULL REFERENCES site (id),
    PRIMARY KEY (block_id, until)
);
CREATE INDEX stay_at_site ON stay (site_id, block_id);

-- The last count of a block is asked for whole regions at once.
CREATE INDEX log_entry_by_kind ON log_entry (block_id, year, kind, at);
