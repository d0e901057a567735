-- What a feed wants to be remembered of a cell, in a form that it alone knows.
ALTER TABLE cell ADD COLUMN memory TEXT;

-- The rest of the air, of a source by its number: what a spray slot needs.
CREATE TABLE air (
    source BIGINT NOT NULL,
    at BIGINT NOT NULL,
    wind_m_s DOUBLE PRECISION,
    gust_m_s DOUBLE PRECISION,
    rain_mm DOUBLE PRECISION,
    humidity_percent DOUBLE PRECISION,
    dew_point_c DOUBLE PRECISION,
    received_at BIGINT NOT NULL,
    PRIMARY KEY (source, at)
) /* clustered */;

-- How a provider stands with all instances together. Fetches that failed in a
-- row, and until when it is left alone.
CREATE TABLE provider (
    name TEXT PRIMARY KEY NOT NULL,
    failures BIGINT NOT NULL,
    open_until BIGINT,
    last_ok_at BIGINT,
    last_error TEXT
);

-- What was asked of a provider in the present minute, hour, day.
CREATE TABLE spent (
    provider TEXT NOT NULL,
    seconds BIGINT NOT NULL,
    begin BIGINT NOT NULL,
    used BIGINT NOT NULL,
    PRIMARY KEY (provider, seconds)
);
