-- When a farm was closed, and a block archived: what is there stays to be read,
-- and nothing is added to it or reckoned of it any more.
ALTER TABLE farm ADD COLUMN closed_at BIGINT;
ALTER TABLE block ADD COLUMN archived_at BIGINT;
