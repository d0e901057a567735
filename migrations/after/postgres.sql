-- Run after the steps, each time, as the owner: the second wall between farms.
--
-- `bloomtide_loops` is the house itself, the loops and the doors by which people
-- come in, and sees all. A request on a person's behalf steps down to
-- `bloomtide_people` and names the person in the setting `bloomtide.viewer`;
-- without one it sees no farm.

DO $$
BEGIN
    EXECUTE format('GRANT USAGE ON SCHEMA %I TO bloomtide_people, bloomtide_loops', current_schema);
END
$$;

-- The farms of the person. It reads as the owner, since the policy on
-- `membership` itself asks it.
CREATE OR REPLACE FUNCTION farms_seen() RETURNS SETOF TEXT
LANGUAGE sql STABLE SECURITY DEFINER AS $$
    SELECT farm_id FROM membership
    WHERE person_id = nullif(current_setting('bloomtide.viewer', true), '')
$$;
DO $$
BEGIN
    EXECUTE format('ALTER FUNCTION farms_seen() SET search_path = %I, pg_temp', current_schema);
END
$$;

-- Every table stands behind the wall; whoever adds one says here what people see.
DO $$
DECLARE
    name TEXT;
    seen TEXT;
    written TEXT;
    -- table, what people see of it, what they may write
    walls TEXT[][] := ARRAY[
        ['farm', 'id IN (SELECT farms_seen())', 'id IN (SELECT farms_seen())'],
        ['site', 'farm_id IS NULL OR farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['source', 'site_id IN (SELECT id FROM site)',
            'site_id IN (SELECT id FROM site WHERE farm_id IS NOT NULL)'],
        ['reading', 'source IN (SELECT number FROM source)',
            'source IN (SELECT source.number FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['earlier_reading', 'source IN (SELECT number FROM source)',
            'source IN (SELECT source.number FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['air', 'source IN (SELECT number FROM source)',
            'source IN (SELECT source.number FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['forecast', 'source_id IN (SELECT id FROM source)',
            'source_id IN (SELECT source.id FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['members', 'source_id IN (SELECT id FROM source)',
            'source_id IN (SELECT source.id FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['taken_file', 'source_id IN (SELECT id FROM source)',
            'source_id IN (SELECT source.id FROM source JOIN site ON site.id = source.site_id WHERE site.farm_id IS NOT NULL)'],
        ['block', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['stay', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['borrowing', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['confirmation', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['farm_rule', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['calendar', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['season', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['expectation', 'block_id IN (SELECT id FROM block)', 'false'],
        ['plan', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['log_entry', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['alert', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['item', 'alert_id IN (SELECT id FROM alert)', 'false'],
        ['message', 'id IN (SELECT message_id FROM item)', 'false'],
        ['contact', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['mute', 'block_id IN (SELECT id FROM block)', 'block_id IN (SELECT id FROM block)'],
        ['silenced', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['notice', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['instance', 'false', 'false'],
        ['journaled', 'false', 'false'],
        ['house_key', 'false', 'false'],
        ['hook', 'farm_id IN (SELECT farms_seen())', 'farm_id IN (SELECT farms_seen())'],
        ['hook_call', 'hook_id IN (SELECT id FROM hook)', 'hook_id IN (SELECT id FROM hook)'],
        ['membership', 'person_id = nullif(current_setting(''bloomtide.viewer'', true), '''') OR farm_id IN (SELECT farms_seen())',
            'farm_id IN (SELECT farms_seen())'],
        ['person', 'id = nullif(current_setting(''bloomtide.viewer'', true), '''') OR id IN (SELECT person_id FROM membership)',
            'id = nullif(current_setting(''bloomtide.viewer'', true), '''')'],
        ['credential', 'person_id = nullif(current_setting(''bloomtide.viewer'', true), '''')',
            'person_id = nullif(current_setting(''bloomtide.viewer'', true), '''')'],
        ['link', 'farm_id IN (SELECT farms_seen())', 'kind = ''invitation'' AND farm_id IN (SELECT farms_seen())'],
        ['audit', 'farm_id IN (SELECT farms_seen()) OR person_id = nullif(current_setting(''bloomtide.viewer'', true), '''')',
            'person_id = nullif(current_setting(''bloomtide.viewer'', true), '''') AND (farm_id IS NULL OR farm_id IN (SELECT farms_seen()))'],
        ['change', 'farm_id IS NULL OR farm_id IN (SELECT farms_seen())',
            'farm_id IS NULL OR farm_id IN (SELECT farms_seen())'],
        ['attempt', 'false', 'false'],
        ['answer', 'false', 'false'],
        ['cell', 'true', 'true'],
        ['provider', 'true', 'false'],
        ['spent', 'false', 'false'],
        ['counter', 'true', 'true'],
        ['curve', 'true', 'true'],
        ['material', 'true', 'true']
    ];
BEGIN
    FOR n IN 1 .. array_length(walls, 1) LOOP
        name := walls[n][1];
        seen := walls[n][2];
        written := walls[n][3];
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', name);
        EXECUTE format('DROP POLICY IF EXISTS of_the_house ON %I', name);
        EXECUTE format('DROP POLICY IF EXISTS people_see ON %I', name);
        EXECUTE format('DROP POLICY IF EXISTS people_add ON %I', name);
        EXECUTE format('DROP POLICY IF EXISTS people_change ON %I', name);
        EXECUTE format('DROP POLICY IF EXISTS people_end ON %I', name);
        EXECUTE format('CREATE POLICY of_the_house ON %I TO bloomtide_loops USING (true) WITH CHECK (true)', name);
        EXECUTE format('CREATE POLICY people_see ON %I FOR SELECT TO bloomtide_people USING (%s)', name, seen);
        EXECUTE format('CREATE POLICY people_add ON %I FOR INSERT TO bloomtide_people WITH CHECK (%s)', name, written);
        EXECUTE format('CREATE POLICY people_change ON %I FOR UPDATE TO bloomtide_people USING (%s) WITH CHECK (%s)',
            name, written, written);
        EXECUTE format('CREATE POLICY people_end ON %I FOR DELETE TO bloomtide_people USING (%s)', name, written);
        EXECUTE format('GRANT SELECT, INSERT, UPDATE ON %I TO bloomtide_people', name);
        EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %I TO bloomtide_loops', name);
    END LOOP;
END
$$;

GRANT DELETE ON membership, stay, borrowing, farm_rule, contact, mute, silenced TO bloomtide_people;
GRANT DELETE ON membership, stay, borrowing, farm_rule, hook, hook_call TO bloomtide_people;
GRANT SELECT ON _sqlx_migrations TO bloomtide_loops;

-- Who did what is only ever added to.
REVOKE UPDATE, DELETE ON audit FROM bloomtide_people, bloomtide_loops;
