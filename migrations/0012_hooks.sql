-- Where a farm's alerts are called out to. The secrets sign what goes there and
-- are shown once; `kinds` is a list of alert kinds, null for all of them.
CREATE TABLE hook (
    id TEXT PRIMARY KEY NOT NULL,
    farm_id TEXT NOT NULL REFERENCES farm (id),
    name TEXT NOT NULL,
    url TEXT NOT NULL,
    kinds TEXT,
    secrets TEXT NOT NULL,
    created_at BIGINT NOT NULL,
    off_at BIGINT,
    off_because TEXT,
    version BIGINT NOT NULL
);
CREATE INDEX hook_of_farm ON hook (farm_id, id);

-- One call of a hook; without an alert it is a test. Its body is kept when it is
-- first sent and never changes. next_try_at is set while it waits. The lease is
-- that of the token while lease_until is set; the token only rises.
CREATE TABLE hook_call (
    id TEXT PRIMARY KEY NOT NULL,
    hook_id TEXT NOT NULL REFERENCES hook (id),
    alert_id TEXT REFERENCES alert (id),
    kind TEXT NOT NULL,
    body TEXT,
    created_at BIGINT NOT NULL,
    state TEXT NOT NULL,
    attempts BIGINT NOT NULL,
    tries BIGINT NOT NULL,
    replayed_at BIGINT,
    next_try_at BIGINT,
    last_status BIGINT,
    last_error TEXT,
    done_at BIGINT,
    token BIGINT NOT NULL,
    lease_until BIGINT,
    UNIQUE (hook_id, alert_id, kind)
);
CREATE INDEX hook_call_of_hook ON hook_call (hook_id, id);
CREATE INDEX hook_call_of_alert ON hook_call (alert_id);
CREATE INDEX hook_call_waiting ON hook_call (hook_id, next_try_at) WHERE next_try_at IS NOT NULL;
