//! Calls of hooks: added with the alerts they tell of, leased, and ended.

use model::time::Instant;
use serde_json::json;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect, hooks, load};
use crate::error::{missing, naming};
use crate::read::{self, HookCallColumns, HookColumns, columns, seen_by};
use crate::rows::{CallEnd, CallState, HookCall, LeasedCall};
use crate::{ROWS_A_STATEMENT, Result};

/// The calls of some alerts; what had been given up before it was ever made waits
/// again when its alert is told after all.
macro_rules! add_calls {
    ($from:literal) => {
        concat!(
            "INSERT INTO hook_call (id, hook_id, alert_id, kind, created_at, state, attempts, tries, next_try_at, \
             token) SELECT alert.id || '_' || hook.id, hook.id, alert.id, \
             'alert.' || replace(alert.kind, '-', '_'), alert.raised_at, 'waiting', 0, 0, alert.raised_at, 0 ",
            $from
        )
    };
}
const AGAIN: &str = " ON CONFLICT (hook_id, alert_id, kind) DO UPDATE SET state = 'waiting', last_error = NULL, \
    done_at = NULL, next_try_at = excluded.next_try_at \
    WHERE hook_call.attempts = 0 AND hook_call.state = 'failed'";

/// Adds a call of each alert for each hook of its block's farm that is on and wants
/// its kind.
pub(super) async fn add(connection: &mut Connection, alerts: &[&str]) -> Result<()> {
    for alerts in alerts.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(add_calls!(
            "FROM alert JOIN block ON block.id = alert.block_id JOIN hook ON hook.farm_id = block.farm_id \
             WHERE hook.off_at IS NULL AND (hook.kinds IS NULL OR hook.kinds LIKE '%\"' || alert.kind || '\"%') \
             AND alert.id IN ("
        ));
        load::list(&mut query, alerts.iter().copied());
        query.push(")").push(AGAIN).build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Adds calls of notices for the hooks that may have what each takes back, whatever
/// kinds they want.
pub(super) async fn take_back(connection: &mut Connection, notices: &[(&str, &str)]) -> Result<()> {
    for notices in notices.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(add_calls!("FROM ("));
        query.push_values(notices, |mut row, (alert_id, notice_id)| {
            row.push_bind(*alert_id).push_bind(*notice_id);
        });
        query.push(
            ") AS given JOIN alert ON alert.id = given.column2 \
             JOIN hook_call AS earlier ON earlier.alert_id = given.column1 AND earlier.attempts > 0 \
             JOIN hook ON hook.id = earlier.hook_id WHERE hook.off_at IS NULL",
        );
        query.push(AGAIN).build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Gives up at `at` calls of some alerts that are not under way; gives those alerts of which
/// a receiver may know already.
pub(super) async fn keep_back(
    connection: &mut Connection,
    alerts: impl Iterator<Item = &str> + Clone,
    reason: &str,
    at: Option<Instant>,
) -> Result<Vec<String>> {
    let mut query =
        QueryBuilder::<Db>::new("UPDATE hook_call SET state = 'failed', next_try_at = NULL, last_error = ");
    query.push_bind(reason).push(", done_at = ").push_bind(at.map(|at| at.0));
    query.push(" WHERE next_try_at IS NOT NULL AND lease_until IS NULL AND alert_id IN (");
    load::list(&mut query, alerts.clone());
    query.push(")").build().persistent(false).execute(&mut *connection).await?;
    let mut query = QueryBuilder::<Db>::new(
        "SELECT DISTINCT alert_id FROM hook_call WHERE attempts > 0 AND alert_id IN (",
    );
    load::list(&mut query, alerts);
    query.push(") ORDER BY alert_id");
    Ok(query.build_query_scalar().persistent(false).fetch_all(connection).await?)
}

pub(crate) async fn hook_calls(
    db: &Pools,
    hook_id: &str,
    after: Option<&str>,
    limit: u32,
) -> Result<Vec<HookCall>> {
    let rows: Vec<HookCallColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(hook_call),
        " FROM hook_call JOIN hook ON hook.id = hook_call.hook_id WHERE hook_call.hook_id = $1 \
         AND ($2 IS NULL OR hook_call.id < $2) AND ",
        seen_by!("$4", "hook.farm_id"),
        " ORDER BY hook_call.id DESC LIMIT $3"
    ))
    .bind(hook_id)
    .bind(after)
    .bind(i64::from(limit))
    .bind(db.person())
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(|row| Ok(read::hook_call(row)?.0)).collect()
}

pub(crate) async fn hook_call(db: &Pools, id: &str) -> Result<Option<HookCall>> {
    let row: Option<HookCallColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(hook_call),
        " FROM hook_call JOIN hook ON hook.id = hook_call.hook_id WHERE hook_call.id = $1 AND ",
        seen_by!("$2", "hook.farm_id")
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(|row| Ok(read::hook_call(row)?.0)).transpose()
}

pub(crate) async fn add_test_call(db: &Pools, id: &str, hook_id: &str, at: Instant) -> Result<()> {
    let hook = hooks::hook(db, hook_id).await?.ok_or_else(|| missing("hook", hook_id))?;
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&hook.farm_id)).await?;
    sqlx::query(
        "INSERT INTO hook_call (id, hook_id, kind, created_at, state, attempts, tries, next_try_at, token) \
         VALUES ($1, $2, 'test', $3, 'waiting', 0, 0, $3, 0)",
    )
    .bind(id)
    .bind(hook_id)
    .bind(at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming(format!("call `{id}`"), &format!("hook `{hook_id}`")))?;
    note(&mut tx, db, &hook.farm_id, hook_id, "tested", id).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn replay_call(db: &Pools, id: &str, at: Instant) -> Result<bool> {
    let call = hook_call(db, id).await?.ok_or_else(|| missing("call", id))?;
    let hook = hooks::hook(db, &call.hook_id).await?.ok_or_else(|| missing("hook", &call.hook_id))?;
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&hook.farm_id)).await?;
    let replayed = sqlx::query(
        "UPDATE hook_call SET state = 'waiting', tries = 0, replayed_at = $2, next_try_at = $2, done_at = NULL, \
         lease_until = NULL WHERE id = $1 AND (lease_until IS NULL OR lease_until <= $2)",
    )
    .bind(id)
    .bind(at.0)
    .execute(&mut *tx)
    .await?;
    if replayed.rows_affected() == 0 {
        return Ok(false);
    }
    note(&mut tx, db, &hook.farm_id, &hook.id, "call replayed", id).await?;
    tx.commit().await?;
    Ok(true)
}

/// Notes who had a call made.
async fn note(
    connection: &mut Connection,
    db: &Pools,
    farm_id: &str,
    hook_id: &str,
    deed: &'static str,
    call_id: &str,
) -> Result<()> {
    let note = Note::new(Of::Farm(farm_id), deed, "hook", hook_id).with(json!({"call": call_id}));
    notes::note_deed(connection, db, note).await
}

pub(crate) async fn lease_calls(
    db: &Pools,
    now: Instant,
    lease_until: Instant,
    limit: u32,
) -> Result<Vec<LeasedCall>> {
    let mut tx = db.begin_write().await?;
    let mut query = QueryBuilder::<Db>::new(concat!(
        "SELECT ",
        columns!(hook),
        " FROM hook WHERE hook.off_at IS NULL AND EXISTS (SELECT 1 FROM hook_call AS due \
         WHERE due.hook_id = hook.id AND due.next_try_at <= "
    ));
    query
        .push_bind(now.0)
        .push(") ORDER BY (SELECT min(due.next_try_at) FROM hook_call AS due WHERE due.hook_id = hook.id), id LIMIT ")
        .push_bind(i64::from(limit) + under_way(&mut tx, now).await?)
        .push(dialect::LOCK_OR_SKIP);
    let due: Vec<HookColumns> = query.build_query_as().fetch_all(&mut *tx).await?;
    let mut leased = Vec::new();
    for hook in due {
        let hook = read::hook(hook)?;
        if leased.len() < limit as usize
            && let Some((call, token)) = lease(&mut tx, &hook.id, now, lease_until).await?
        {
            leased.push((call, hook, token));
        }
    }
    let alerts = leased.iter().filter_map(|(call, ..)| call.alert_id.as_deref());
    let alerts = load::alerts(&mut tx, alerts).await?;
    let blocks = load::blocks(&mut tx, alerts.values().map(|alert| alert.block_id.as_str())).await?;
    tx.commit().await?;
    Ok(leased
        .into_iter()
        .map(|(call, hook, token)| {
            let alert = call.alert_id.as_deref().map(|id| load::take(&alerts, id));
            let alert = alert.map(|alert| (alert.clone(), load::take(&blocks, &alert.block_id)));
            LeasedCall { call, hook, alert, token }
        })
        .collect())
}

/// Hooks of which a call is under way: they are found due, and left.
async fn under_way(connection: &mut Connection, now: Instant) -> Result<i64> {
    Ok(sqlx::query_scalar("SELECT count(*) FROM hook_call WHERE lease_until > $1")
        .bind(now.0)
        .fetch_one(connection)
        .await?)
}

/// Leases the oldest call of a locked hook that is due, unless one is under way: a
/// statement of its own, which sees what others leased before they let the hook go. What
/// is given up meanwhile is seen by the conditions that stand beside its id.
async fn lease(
    connection: &mut Connection,
    hook_id: &str,
    now: Instant,
    lease_until: Instant,
) -> Result<Option<(HookCall, i64)>> {
    let row: Option<HookCallColumns> = sqlx::query_as(concat!(
        "UPDATE hook_call SET token = token + 1, attempts = attempts + 1, tries = tries + 1, lease_until = $3 \
         WHERE id = (SELECT due.id FROM hook_call AS due WHERE due.hook_id = $1 AND due.next_try_at <= $2 \
         AND NOT EXISTS (SELECT 1 FROM hook_call AS busy WHERE busy.hook_id = $1 AND busy.lease_until > $2) \
         ORDER BY due.created_at, due.id LIMIT 1) \
         AND next_try_at <= $2 AND (lease_until IS NULL OR lease_until <= $2) RETURNING ",
        columns!(hook_call)
    ))
    .bind(hook_id)
    .bind(now.0)
    .bind(lease_until.0)
    .fetch_optional(connection)
    .await?;
    row.map(read::hook_call).transpose()
}

pub(crate) async fn keep_call_body(db: &Pools, id: &str, token: i64, body: &str) -> Result<bool> {
    let kept = sqlx::query(
        "UPDATE hook_call SET body = $3 WHERE id = $1 AND token = $2 AND lease_until IS NOT NULL \
         AND body IS NULL",
    )
    .bind(id)
    .bind(token)
    .bind(body)
    .execute(db.writer())
    .await?;
    Ok(kept.rows_affected() == 1)
}

pub(crate) async fn end_call(db: &Pools, id: &str, token: i64, end: &CallEnd, now: Instant) -> Result<bool> {
    let (state, next, status, error) = match end {
        CallEnd::Delivered { status } => (CallState::Delivered, None, Some(*status), None),
        CallEnd::Later { at, status, error } => (CallState::Waiting, Some(at.0), *status, Some(error)),
        CallEnd::Failed { status, error } => (CallState::Failed, None, *status, Some(error)),
        CallEnd::Gone { status, because } => (CallState::Failed, None, Some(*status), Some(because)),
    };
    let mut tx = db.begin_write().await?;
    let hook_id: Option<String> = sqlx::query_scalar(
        "UPDATE hook_call SET state = $3, next_try_at = $4, last_status = $5, last_error = $6, done_at = $7, \
         lease_until = NULL WHERE id = $1 AND token = $2 AND lease_until IS NOT NULL RETURNING hook_id",
    )
    .bind(id)
    .bind(token)
    .bind(state.word())
    .bind(next)
    .bind(status)
    .bind(error)
    .bind(next.is_none().then_some(now.0))
    .fetch_optional(&mut *tx)
    .await?;
    let Some(hook_id) = hook_id else { return Ok(false) };
    if let CallEnd::Gone { because, .. } = end {
        switch_off(&mut tx, db, &hook_id, because, now).await?;
    }
    tx.commit().await?;
    Ok(true)
}

async fn switch_off(
    connection: &mut Connection,
    db: &Pools,
    hook_id: &str,
    because: &str,
    now: Instant,
) -> Result<()> {
    let farm_id: Option<String> = sqlx::query_scalar(
        "UPDATE hook SET off_at = $2, off_because = $3, version = version + 1 WHERE id = $1 \
         AND off_at IS NULL RETURNING farm_id",
    )
    .bind(hook_id)
    .bind(now.0)
    .bind(because)
    .fetch_optional(&mut *connection)
    .await?;
    let Some(farm_id) = farm_id else { return Ok(()) };
    give_up_of(connection, now).await?;
    notes::note(connection, db, Note::new(Of::Farm(&farm_id), "switched off", "hook", hook_id)).await
}

/// Why a call that waited was given up.
const OFF: &str = "its hook was switched off";
const OUTDATED: &str = "of no use any more when it could have been made";

/// What waits and is under way with nobody, for an UPDATE that gives it up as `$1`
/// at `$2`.
macro_rules! give_up {
    ($which:literal) => {
        concat!(
            "UPDATE hook_call SET state = 'failed', next_try_at = NULL, lease_until = NULL, done_at = $2, \
             last_error = coalesce(last_error || '; ', '') || $1 \
             WHERE next_try_at IS NOT NULL AND (lease_until IS NULL OR lease_until <= $2) AND ",
            $which
        )
    };
}

/// Gives up what waits for hooks that are off.
pub(super) async fn give_up_of(connection: &mut Connection, now: Instant) -> Result<u64> {
    let off = give_up!("hook_id IN (SELECT id FROM hook WHERE off_at IS NOT NULL)");
    Ok(sqlx::query(off).bind(OFF).bind(now.0).execute(connection).await?.rows_affected())
}

/// Gives up all that waits.
pub(super) async fn give_up_waiting(connection: &mut Connection, reason: &str) -> Result<u64> {
    let waiting = sqlx::query(
        "UPDATE hook_call SET state = 'failed', next_try_at = NULL, lease_until = NULL, \
         last_error = coalesce(last_error || '; ', '') || $1 WHERE next_try_at IS NOT NULL",
    );
    Ok(waiting.bind(reason).execute(connection).await?.rows_affected())
}

pub(crate) async fn give_up_calls(db: &Pools, now: Instant) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let off = give_up_of(&mut tx, now).await?;
    let outdated =
        give_up!("replayed_at IS NULL AND alert_id IN (SELECT id FROM alert WHERE useful_until <= $2)");
    let outdated = sqlx::query(outdated).bind(OUTDATED).bind(now.0).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(off + outdated.rows_affected())
}
