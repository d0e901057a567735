-- Who has confirmed that a material is registered for its use where the farm is,
-- and that its label allows use in bloom. One that is taken back stays on record.
CREATE TABLE confirmation (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT NOT NULL REFERENCES farm (id),
    material TEXT NOT NULL,
    doc TEXT NOT NULL,
    at BIGINT NOT NULL,
    taken_back_at BIGINT
);
CREATE INDEX confirmation_of_farm ON confirmation (farm_id, id);

-- Tables of a farm's own in the place of those that ship, by their kind.
CREATE TABLE farm_rule (
    farm_id TEXT NOT NULL REFERENCES farm (id),
    kind TEXT NOT NULL,
    doc TEXT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (farm_id, kind)
);

-- Which block borrows from which; what of it stands in the block's details.
CREATE TABLE borrowing (
    block_id TEXT NOT NULL REFERENCES block (id),
    lender_id TEXT NOT NULL REFERENCES block (id),
    PRIMARY KEY (block_id, lender_id)
);
CREATE INDEX borrowing_from ON borrowing (lender_id, block_id);

-- What happened since yesterday evening is asked for every morning.
CREATE INDEX alert_by_time ON alert (raised_at);
CREATE INDEX audit_by_time ON audit (at);
