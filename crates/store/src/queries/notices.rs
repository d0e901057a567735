//! Words beside the alerts: notices to addresses, what could not be delivered, and
//! another way for it.

use std::collections::BTreeMap;

use model::time::Instant;
use sqlx::QueryBuilder;

use super::outbox::{self, REFERS};
use super::{Connection, Db, Pools, alert_writes, load};
use crate::error::naming;
use crate::read::{self, MessageColumns, columns};
use crate::rows::{Addressed, Failed, Item, Message, Notice, Undelivered};
use crate::{ROWS_A_STATEMENT, Result, text};

/// Adds notices; those that are there already stay.
pub(super) async fn add(connection: &mut Connection, notices: &[Notice]) -> Result<()> {
    for notices in notices.chunks(ROWS_A_STATEMENT) {
        let mut query =
            QueryBuilder::<Db>::new("INSERT INTO notice (id, farm_id, recipient, kind, about, at) ");
        query.push_values(notices, |mut row, notice| {
            row.push_bind(&notice.id)
                .push_bind(&notice.farm_id)
                .push_bind(&notice.recipient)
                .push_bind(&notice.kind)
                .push_bind(text::of(&notice.about))
                .push_bind(notice.at.0);
        });
        query
            .push(" ON CONFLICT (id) DO NOTHING")
            .build()
            .persistent(false)
            .execute(&mut *connection)
            .await
            .map_err(naming("notice".to_owned(), "farm that a notice names"))?;
    }
    Ok(())
}

pub(crate) async fn add_notices(db: &Pools, notices: &[Notice]) -> Result<()> {
    let mut tx = db.begin_write().await?;
    add(&mut tx, notices).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn uncomposed_notices(db: &Pools, limit: u32) -> Result<Vec<Notice>> {
    let rows: Vec<(String, Option<String>, String, String, String, i64)> = sqlx::query_as(
        "SELECT id, farm_id, recipient, kind, about, at FROM notice \
         WHERE message_id IS NULL AND unsent_because IS NULL ORDER BY at, id LIMIT $1",
    )
    .bind(i64::from(limit))
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter()
        .map(|(id, farm_id, recipient, kind, about, at)| {
            let about = text::doc(&about, || format!("notice `{id}`"))?;
            Ok(Notice { id, farm_id, recipient, kind, about, at: Instant(at) })
        })
        .collect()
}

pub(crate) async fn carry_notice(db: &Pools, notice_id: &str, message: &Message) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    let free = sqlx::query("UPDATE notice SET unsent_because = NULL WHERE id = $1 AND message_id IS NULL")
        .bind(notice_id)
        .execute(&mut *tx)
        .await?;
    if free.rows_affected() == 0 {
        return Ok(false);
    }
    outbox::add(&mut tx, message).await?;
    sqlx::query("UPDATE notice SET message_id = $2 WHERE id = $1")
        .bind(notice_id)
        .bind(&message.id)
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(true)
}

pub(crate) async fn give_up_notice(db: &Pools, id: &str, reason: &str) -> Result<()> {
    sqlx::query("UPDATE notice SET unsent_because = $2 WHERE id = $1 AND message_id IS NULL")
        .bind(id)
        .bind(reason)
        .execute(db.writer())
        .await?;
    Ok(())
}

pub(crate) async fn add_once(db: &Pools, message: &Message) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    let there: i64 = sqlx::query_scalar("SELECT count(*) FROM message WHERE id = $1")
        .bind(&message.id)
        .fetch_one(&mut *tx)
        .await?;
    if there > 0 {
        return Ok(false);
    }
    outbox::add(&mut tx, message).await?;
    tx.commit().await?;
    Ok(true)
}

pub(crate) async fn message(db: &Pools, id: &str) -> Result<Option<Message>> {
    let row: Option<MessageColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(message), " FROM message WHERE id = $1"))
            .bind(id)
            .fetch_optional(&mut *db.look().await?)
            .await?;
    row.map(read::message).transpose()
}

pub(crate) async fn message_by_header(db: &Pools, header_id: &str) -> Result<Option<Message>> {
    let row: Option<MessageColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(message), " FROM message WHERE header_id = $1"))
            .bind(header_id)
            .fetch_optional(&mut *db.look().await?)
            .await?;
    row.map(read::message).transpose()
}

pub(crate) async fn alerts_in(db: &Pools, message_id: &str) -> Result<Vec<crate::rows::AlertRow>> {
    let mut tx = db.begin_read().await?;
    let ids: Vec<String> =
        sqlx::query_scalar("SELECT alert_id FROM item WHERE message_id = $1 ORDER BY alert_id")
            .bind(message_id)
            .fetch_all(&mut *tx)
            .await?;
    let alerts = load::alerts(&mut tx, ids.iter().map(String::as_str)).await?;
    Ok(ids.iter().filter_map(|id| alerts.get(id).cloned()).collect())
}

pub(crate) async fn note_bounce(db: &Pools, header_id: &str, error: &str, at: Instant) -> Result<bool> {
    let noted = sqlx::query(
        "UPDATE message SET bounced_at = $2, last_error = $3, failure_told_at = NULL \
         WHERE header_id = $1 AND bounced_at IS NULL AND attempts > 0",
    )
    .bind(header_id)
    .bind(at.0)
    .bind(error)
    .execute(db.writer())
    .await?;
    Ok(noted.rows_affected() > 0)
}

pub(crate) async fn failed_untold(db: &Pools, limit: u32) -> Result<Vec<Failed>> {
    let mut tx = db.begin_read().await?;
    let rows: Vec<MessageColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(message),
        " FROM message WHERE failure_told_at IS NULL AND (state = 'failed' OR bounced_at IS NOT NULL) \
         ORDER BY id LIMIT $1"
    ))
    .bind(i64::from(limit))
    .fetch_all(&mut *tx)
    .await?;
    let mut failed = Vec::with_capacity(rows.len());
    for row in rows {
        let message = read::message(row)?;
        let bounced: Option<i64> = sqlx::query_scalar("SELECT bounced_at FROM message WHERE id = $1")
            .bind(&message.id)
            .fetch_one(&mut *tx)
            .await?;
        let carried: Vec<(String, String, String)> = sqlx::query_as(
            "SELECT block.farm_id, block.name, alert.kind FROM item JOIN alert ON alert.id = item.alert_id \
             JOIN block ON block.id = alert.block_id WHERE item.message_id = $1 \
             ORDER BY block.farm_id, alert.raised_at, alert.id",
        )
        .bind(&message.id)
        .fetch_all(&mut *tx)
        .await?;
        let farms = load::farms(&mut tx, carried.iter().map(|(farm_id, ..)| farm_id.as_str())).await?;
        let mut of: BTreeMap<&str, (String, String)> = BTreeMap::new();
        for (farm_id, block, kind) in &carried {
            of.entry(farm_id).or_insert_with(|| (block.clone(), kind.clone()));
        }
        let of = of.into_iter().map(|(id, (block, kind))| (load::take(&farms, id), block, kind)).collect();
        failed.push(Failed { message, of, bounced: bounced.is_some() });
    }
    Ok(failed)
}

pub(crate) async fn tell_failure(
    db: &Pools,
    message_id: &str,
    notices: &[Notice],
    at: Instant,
) -> Result<()> {
    let mut tx = db.begin_write().await?;
    let first =
        sqlx::query("UPDATE message SET failure_told_at = $2 WHERE id = $1 AND failure_told_at IS NULL")
            .bind(message_id)
            .bind(at.0)
            .execute(&mut *tx)
            .await?;
    if first.rows_affected() == 1 {
        add(&mut tx, notices).await?;
        tx.commit().await?;
    }
    Ok(())
}

pub(crate) async fn undelivered(
    db: &Pools,
    since: Instant,
    now: Instant,
    limit: u32,
) -> Result<Vec<Undelivered>> {
    type Columns = (String, String, String, Option<String>, String, String, String);
    let mut tx = db.begin_read().await?;
    let rows: Vec<Columns> = sqlx::query_as(concat!(
        "SELECT item.id, item.alert_id, item.recipient, item.message_id, block.farm_id, block.id, alert.kind ",
        "FROM item JOIN alert ON alert.id = item.alert_id JOIN block ON block.id = alert.block_id \
         LEFT JOIN message ON message.id = item.message_id \
         WHERE item.second_at IS NULL AND item.unsent_because IS NULL AND alert.raised_at <= $1 \
         AND (item.hold_until IS NULL OR item.hold_until <= $1) AND alert.useful_until > $2 \
         AND alert.withdrawn_at IS NULL AND (message.id IS NULL OR message.next_try_at IS NOT NULL \
         OR message.state = 'failed' OR message.bounced_at IS NOT NULL) \
         ORDER BY alert.raised_at, item.id LIMIT $3"
    ))
    .bind(since.0)
    .bind(now.0)
    .bind(i64::from(limit))
    .fetch_all(&mut *tx)
    .await?;
    let farms = load::farms(&mut tx, rows.iter().map(|row| row.4.as_str())).await?;
    Ok(rows
        .into_iter()
        .map(|(id, alert_id, recipient, message_id, farm_id, block_id, kind)| Undelivered {
            item: Item { id, alert_id, recipient, message_id },
            farm: load::take(&farms, &farm_id),
            block_id,
            kind,
        })
        .collect())
}

pub(crate) async fn try_another_way(
    db: &Pools,
    item_id: &str,
    alert_id: &str,
    to: &[Addressed],
    at: Instant,
) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    let first = sqlx::query("UPDATE item SET second_at = $2 WHERE id = $1 AND second_at IS NULL")
        .bind(item_id)
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    if first.rows_affected() == 0 {
        return Ok(false);
    }
    let items: Vec<(&str, &Addressed)> = to.iter().map(|to| (alert_id, to)).collect();
    alert_writes::add_new_items(&mut tx, &items).await?;
    tx.commit().await?;
    Ok(true)
}

pub(crate) async fn hasten(db: &Pools, now: Instant) -> Result<u64> {
    let hastened = sqlx::query(
        "UPDATE message SET next_try_at = $1 WHERE next_try_at > $1 AND state = 'ready' \
         AND lease_until IS NULL AND relay_failed = 1",
    )
    .bind(now.0)
    .execute(db.writer())
    .await?;
    Ok(hastened.rows_affected())
}

/// Message-IDs of earlier mails of a block's season to a recipient.
pub(super) async fn thread(
    connection: &mut Connection,
    block_id: &str,
    year: i32,
    recipient: &str,
) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "SELECT header_id FROM (SELECT DISTINCT message.header_id, message.composed_at FROM item \
         JOIN alert ON alert.id = item.alert_id JOIN message ON message.id = item.message_id \
         WHERE message.attempts > 0 AND alert.block_id = ",
    );
    query.push_bind(block_id).push(" AND alert.year = ").push_bind(i64::from(year));
    query.push(" AND item.recipient = ").push_bind(recipient);
    query.push(" ORDER BY message.composed_at DESC LIMIT ").push_bind(REFERS);
    query.push(") AS latest ORDER BY composed_at");
    Ok(query.build_query_scalar().fetch_all(connection).await?)
}
