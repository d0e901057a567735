-- Once for each Postgres server, by its administrator:
--
--     psql -v ON_ERROR_STOP=1 -f deploy/postgres.sql
--
-- then a database that belongs to the owner, and passwords:
--
--     CREATE DATABASE bloomtide OWNER bloomtide_owner;
--     ALTER ROLE bloomtide_owner PASSWORD '…';
--     ALTER ROLE bloomtide PASSWORD '…';
--
-- `bloomtide migrate` runs as bloomtide_owner, `bloomtide serve` as bloomtide.
-- The service is a member of bloomtide_loops, which sees all farms; for each
-- request it steps down to bloomtide_people, which sees those of one person.

CREATE ROLE bloomtide_owner LOGIN;
CREATE ROLE bloomtide_people NOLOGIN;
CREATE ROLE bloomtide_loops NOLOGIN;
CREATE ROLE bloomtide LOGIN NOSUPERUSER NOBYPASSRLS IN ROLE bloomtide_loops;
GRANT bloomtide_people TO bloomtide;
