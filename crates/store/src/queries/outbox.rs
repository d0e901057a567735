//! The outbox: items to be composed, messages to be sent.

use model::time::Instant;
use sqlx::QueryBuilder;

use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect, hook_calls, load, notices};
use crate::error::naming;
use crate::read::{self, MessageColumns, columns};
use crate::rows::{Carried, Item, ItemShown, LeasedMessage, Message, MessageState, Uncomposed};
use crate::{Result, StoreError};

/// Most earlier mails that one refers to.
pub(super) const REFERS: i64 = 10;

pub(crate) async fn uncomposed(db: &Pools, now: Instant, limit: u32) -> Result<Vec<Uncomposed>> {
    let mut tx = db.begin_read().await?;
    let items: Vec<(String, String, String)> = sqlx::query_as(
        "SELECT item.id, item.alert_id, item.recipient FROM item \
         JOIN alert ON alert.id = item.alert_id \
         WHERE item.message_id IS NULL AND item.unsent_because IS NULL \
         AND (item.hold_until IS NULL OR item.hold_until <= $2) \
         ORDER BY item.recipient, alert.raised_at, item.alert_id LIMIT $1",
    )
    .bind(i64::from(limit))
    .bind(now.0)
    .fetch_all(&mut *tx)
    .await?;
    let alerts = load::alerts(&mut tx, items.iter().map(|(_, alert_id, _)| alert_id.as_str())).await?;
    let blocks = load::blocks(&mut tx, alerts.values().map(|alert| alert.block_id.as_str())).await?;
    let sites = load::sites(&mut tx, blocks.values().map(|block| block.site_id.as_str())).await?;
    let farms = load::farms(&mut tx, blocks.values().map(|block| block.farm_id.as_str())).await?;
    let mut uncomposed = Vec::with_capacity(items.len());
    for (id, alert_id, recipient) in items {
        let alert = load::take(&alerts, &alert_id);
        let block = load::take(&blocks, &alert.block_id);
        let thread = notices::thread(&mut tx, &block.id, alert.year, &recipient).await?;
        uncomposed.push(Uncomposed {
            site: load::take(&sites, &block.site_id),
            farm: load::take(&farms, &block.farm_id),
            item: Item { id, alert_id, recipient, message_id: None },
            alert,
            block,
            thread,
        });
    }
    Ok(uncomposed)
}

pub(crate) async fn give_up_item(db: &Pools, id: &str, reason: &str) -> Result<()> {
    sqlx::query("UPDATE item SET unsent_because = $2 WHERE id = $1 AND message_id IS NULL")
        .bind(id)
        .bind(reason)
        .execute(db.writer())
        .await?;
    Ok(())
}

/// Why something that came too late was not sent.
const OUTDATED: &str = "of no use any more when it could have been sent";

pub(crate) async fn give_up_outdated(db: &Pools, now: Instant) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let items = sqlx::query(
        "UPDATE item SET unsent_because = $2 WHERE message_id IS NULL AND unsent_because IS NULL \
         AND alert_id IN (SELECT id FROM alert WHERE useful_until <= $1)",
    )
    .bind(now.0)
    .bind(OUTDATED)
    .execute(&mut *tx)
    .await?;
    let messages = sqlx::query(
        "UPDATE message SET state = 'failed', next_try_at = NULL, lease_until = NULL, \
         last_error = coalesce(last_error || '; ', '') || $2 \
         WHERE next_try_at IS NOT NULL AND (lease_until IS NULL OR lease_until <= $1) \
         AND (useful_until IS NULL OR useful_until <= $1) \
         AND NOT EXISTS (SELECT 1 FROM item JOIN alert ON alert.id = item.alert_id \
         WHERE item.message_id = message.id AND alert.useful_until > $1)",
    )
    .bind(now.0)
    .bind(OUTDATED)
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(items.rows_affected() + messages.rows_affected())
}

pub(crate) async fn give_up_unsent(db: &Pools, reason: &str) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let items = sqlx::query(
        "UPDATE item SET unsent_because = $1 WHERE message_id IS NULL AND unsent_because IS NULL",
    )
    .bind(reason)
    .execute(&mut *tx)
    .await?;
    let messages = sqlx::query(
        "UPDATE message SET state = 'failed', next_try_at = NULL, lease_until = NULL, \
         last_error = coalesce(last_error || '; ', '') || $1 WHERE next_try_at IS NOT NULL",
    )
    .bind(reason)
    .execute(&mut *tx)
    .await?;
    let calls = hook_calls::give_up_waiting(&mut tx, reason).await?;
    tx.commit().await?;
    Ok(items.rows_affected() + messages.rows_affected() + calls)
}

pub(crate) async fn add_messages(db: &Pools, messages: &[(Message, Vec<String>)]) -> Result<u64> {
    // One order for all writers, so that two of them never wait for each other.
    let mut messages: Vec<&(Message, Vec<String>)> = messages.iter().collect();
    messages.sort_by(|a, b| a.1.iter().min().cmp(&b.1.iter().min()));
    let mut tx = db.begin_write().await?;
    let mut added = 0;
    for (message, items) in messages {
        if items.is_empty() {
            return Err(StoreError::Refused(format!("message `{}` carries nothing", message.id)));
        }
        if lock_free(&mut tx, items).await? == items.len() {
            add(&mut tx, message).await?;
            carry(&mut tx, &message.id, items).await?;
            added += 1;
        }
    }
    tx.commit().await?;
    Ok(added)
}

/// How many of the items no message carries; they stay so until the
/// transaction ends.
async fn lock_free(connection: &mut Connection, items: &[String]) -> Result<usize> {
    let mut query = QueryBuilder::<Db>::new(
        "SELECT id FROM item WHERE message_id IS NULL AND unsent_because IS NULL AND id IN (",
    );
    load::list(&mut query, items.iter().map(String::as_str));
    query.push(") ORDER BY id").push(dialect::LOCK);
    let free: Vec<String> = query.build_query_scalar().persistent(false).fetch_all(connection).await?;
    Ok(free.len())
}

pub(super) async fn add(connection: &mut Connection, message: &Message) -> Result<()> {
    sqlx::query(
        "INSERT INTO message (id, header_id, recipient, body, composed_at, state, attempts, \
         next_try_at, last_error, sent_at, token, purpose, useful_until) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 0, $11, $12)",
    )
    .bind(&message.id)
    .bind(&message.header_id)
    .bind(&message.recipient)
    .bind(&message.body)
    .bind(message.composed_at.0)
    .bind(message.state.word())
    .bind(message.attempts)
    .bind(message.next_try_at.map(|at| at.0))
    .bind(&message.last_error)
    .bind(message.sent_at.map(|at| at.0))
    .bind(message.purpose.word())
    .bind(message.useful_until.map(|at| at.0))
    .execute(connection)
    .await
    .map_err(naming(
        format!("message `{}`, or its header id `{}`,", message.id, message.header_id),
        "row that the message names",
    ))?;
    Ok(())
}

async fn carry(connection: &mut Connection, message_id: &str, items: &[String]) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new("UPDATE item SET message_id = ");
    query.push_bind(message_id).push(" WHERE id IN (");
    load::list(&mut query, items.iter().map(String::as_str));
    query.push(")").build().persistent(false).execute(connection).await?;
    Ok(())
}

pub(crate) async fn lease_messages(
    db: &Pools,
    now: Instant,
    lease_until: Instant,
    limit: u32,
    whenever: bool,
) -> Result<Vec<LeasedMessage>> {
    let mut tx = db.begin_write().await?;
    let by = if whenever { Instant::MAX } else { now };
    let mut query = QueryBuilder::<Db>::new("SELECT id, token FROM message WHERE next_try_at <= ");
    query
        .push_bind(by.0)
        .push(" AND (lease_until IS NULL OR lease_until <= ")
        .push_bind(now.0)
        .push(") ORDER BY composed_at, id LIMIT ")
        .push_bind(i64::from(limit))
        .push(dialect::LOCK_OR_SKIP);
    let due: Vec<(String, i64)> = query.build_query_as().fetch_all(&mut *tx).await?;
    let mut leased = Vec::with_capacity(due.len());
    for (id, token) in due {
        let token = token + 1;
        let row: MessageColumns = sqlx::query_as(concat!(
            "UPDATE message SET token = $2, lease_until = $3, last_error = CASE state \
             WHEN 'offered' THEN $4 ELSE last_error END, state = CASE state \
             WHEN 'offered' THEN 'unknown' ELSE state END WHERE id = $1 RETURNING ",
            columns!(message)
        ))
        .bind(&id)
        .bind(token)
        .bind(lease_until.0)
        .bind("the sender went away after it had offered the message")
        .fetch_one(&mut *tx)
        .await?;
        let message = read::message(row)?;
        let unknown_before = message.state == MessageState::Unknown;
        let carries = carried(&mut tx, &message.id).await?;
        leased.push(LeasedMessage { message, token, unknown_before, carries });
    }
    tx.commit().await?;
    Ok(leased)
}

/// The keys of the alerts that a message carries.
async fn carried(connection: &mut Connection, message_id: &str) -> Result<Vec<Carried>> {
    let rows: Vec<(String, i64, String, String, i64)> = sqlx::query_as(
        "SELECT alert.block_id, alert.year, alert.kind, alert.subject, alert.generation FROM item \
         JOIN alert ON alert.id = item.alert_id WHERE item.message_id = $1 ORDER BY alert.id",
    )
    .bind(message_id)
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|(block_id, year, kind, subject, generation)| {
            Ok(Carried { block_id, year: read::bloom_year(year)?, kind, subject, generation })
        })
        .collect()
}

pub(crate) async fn mark_offered(db: &Pools, id: &str, token: i64) -> Result<bool> {
    let marked = sqlx::query(
        "UPDATE message SET state = 'offered', attempts = attempts + 1 \
         WHERE id = $1 AND token = $2 AND lease_until IS NOT NULL",
    )
    .bind(id)
    .bind(token)
    .execute(db.writer())
    .await?;
    Ok(marked.rows_affected() == 1)
}

pub(crate) async fn mark_sent(db: &Pools, id: &str, token: i64, at: Instant) -> Result<bool> {
    let state = MessageState::Sent;
    let outcome = Outcome { state, next: None, sent: Some(at), error: None, relay: false };
    end_lease(db, id, token, outcome).await
}

pub(crate) async fn mark_later(
    db: &Pools,
    id: &str,
    token: i64,
    next: Instant,
    error: &str,
    relay: bool,
) -> Result<bool> {
    let state = MessageState::Ready;
    let outcome = Outcome { state, next: Some(next), sent: None, error: Some(error), relay };
    end_lease(db, id, token, outcome).await
}

pub(crate) async fn mark_failed(db: &Pools, id: &str, token: i64, error: &str) -> Result<bool> {
    let state = MessageState::Failed;
    let outcome = Outcome { state, next: None, sent: None, error: Some(error), relay: false };
    end_lease(db, id, token, outcome).await
}

pub(crate) async fn mark_unknown(
    db: &Pools,
    id: &str,
    token: i64,
    next: Instant,
    error: &str,
) -> Result<bool> {
    let state = MessageState::Unknown;
    let outcome = Outcome { state, next: Some(next), sent: None, error: Some(error), relay: false };
    end_lease(db, id, token, outcome).await
}

/// What came of an attempt to send.
struct Outcome<'a> {
    state: MessageState,
    next: Option<Instant>,
    sent: Option<Instant>,
    error: Option<&'a str>,
    /// Whether it failed before the server was told of the message.
    relay: bool,
}

async fn end_lease(db: &Pools, id: &str, token: i64, outcome: Outcome<'_>) -> Result<bool> {
    let marked = sqlx::query(
        "UPDATE message SET state = $3, next_try_at = $4, sent_at = $5, \
         last_error = coalesce($6, last_error), lease_until = NULL, relay_failed = $7 \
         WHERE id = $1 AND token = $2 AND lease_until IS NOT NULL",
    )
    .bind(id)
    .bind(token)
    .bind(outcome.state.word())
    .bind(outcome.next.map(|at| at.0))
    .bind(outcome.sent.map(|at| at.0))
    .bind(outcome.error)
    .bind(i64::from(outcome.relay))
    .execute(db.writer())
    .await?;
    Ok(marked.rows_affected() == 1)
}

pub(crate) async fn oldest_unsent(db: &Pools) -> Result<Option<Instant>> {
    let mut tx = db.begin_read().await?;
    let composed: Option<i64> =
        sqlx::query_scalar("SELECT min(composed_at) FROM message WHERE next_try_at IS NOT NULL")
            .fetch_one(&mut *tx)
            .await?;
    let uncomposed: Option<i64> = sqlx::query_scalar(
        "SELECT min(alert.raised_at) FROM item JOIN alert ON alert.id = item.alert_id \
         WHERE item.message_id IS NULL AND item.unsent_because IS NULL AND item.hold_until IS NULL",
    )
    .fetch_one(&mut *tx)
    .await?;
    Ok(composed.into_iter().chain(uncomposed).min().map(Instant))
}

pub(crate) async fn messages_of(db: &Pools, alert_id: &str) -> Result<Vec<Message>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Alert(alert_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<MessageColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(message),
        " FROM item JOIN message ON message.id = item.message_id WHERE item.alert_id = $1 \
         ORDER BY message.composed_at, message.id"
    ))
    .bind(alert_id)
    .fetch_all(&mut *tx)
    .await?;
    rows.into_iter().map(read::message).collect()
}

pub(crate) async fn items_of(db: &Pools, alert_id: &str) -> Result<Vec<ItemShown>> {
    type Columns = (String, Option<String>, Option<String>, Option<i64>, Option<String>, Option<i64>);
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Alert(alert_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<Columns> = sqlx::query_as(
        "SELECT recipient, message_id, because, hold_until, unsent_because, second_at FROM item \
         WHERE alert_id = $1 ORDER BY recipient",
    )
    .bind(alert_id)
    .fetch_all(&mut *tx)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(recipient, message_id, because, hold_until, unsent_because, second_at)| ItemShown {
            recipient,
            message_id,
            because,
            hold_until: hold_until.map(Instant),
            unsent_because,
            second_at: second_at.map(Instant),
        })
        .collect())
}
