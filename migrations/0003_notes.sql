-- What changed, for those who follow, and who did it.

-- The number of the last change that was noted.
INSERT INTO counter (kind, last) VALUES ('change', 0);

-- The latest change of each thing that a farm's people see. Numbers rise in
-- the order in which changes become visible.
CREATE TABLE change (
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    year BIGINT NOT NULL,
    farm_id TEXT,
    number BIGINT NOT NULL,
    PRIMARY KEY (kind, subject, year)
);
CREATE INDEX change_in_order ON change (number, kind, subject, year);

-- Who did what, only ever added to. Whoever acts by the command line is no
-- person here.
CREATE TABLE audit (
    number BIGINT PRIMARY KEY NOT NULL,
    at BIGINT NOT NULL,
    farm_id TEXT,
    person_id TEXT,
    credential_id TEXT,
    request_id TEXT NOT NULL,
    deed TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    year BIGINT,
    detail TEXT
);
CREATE INDEX audit_of_farm ON audit (farm_id, number);

-- What was there before is listed once as changed.
INSERT INTO change (kind, subject, year, farm_id, number) SELECT 'farm', id, 0, id, 0 FROM farm;
INSERT INTO change (kind, subject, year, farm_id, number) SELECT 'site', id, 0, farm_id, 0 FROM site;
INSERT INTO change (kind, subject, year, farm_id, number) SELECT 'block', id, 0, farm_id, 0 FROM block;
INSERT INTO change (kind, subject, year, farm_id, number)
    SELECT 'season', season.block_id, season.year, block.farm_id, 0
    FROM season JOIN block ON block.id = season.block_id;
INSERT INTO change (kind, subject, year, farm_id, number)
    SELECT 'alert', alert.id, alert.year, block.farm_id, 0
    FROM alert JOIN block ON block.id = alert.block_id;
INSERT INTO change (kind, subject, year, farm_id, number) SELECT 'curve', id, 0, NULL, 0 FROM curve;
INSERT INTO change (kind, subject, year, farm_id, number) SELECT 'material', id, 0, NULL, 0 FROM material;
