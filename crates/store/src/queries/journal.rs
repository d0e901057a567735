//! Instances that send, and what their journals say after a restore.

use model::time::Instant;
use sqlx::QueryBuilder;

use super::{Connection, Db, Pools, load};
use crate::rows::Journaled;
use crate::{ROWS_A_STATEMENT, Result};

/// Why something is not sent again.
pub(super) const BY_THE_JOURNAL: &str = "it went out, or may have, before the database was restored";

pub(crate) async fn note_instance(db: &Pools, name: &str, at: Instant) -> Result<()> {
    sqlx::query(
        "INSERT INTO instance (name, seen_at, must_read) VALUES ($1, $2, 0) \
         ON CONFLICT (name) DO UPDATE SET seen_at = excluded.seen_at",
    )
    .bind(name)
    .bind(at.0)
    .execute(db.writer())
    .await?;
    Ok(())
}

pub(crate) async fn unread_journals(db: &Pools) -> Result<Vec<String>> {
    Ok(sqlx::query_scalar("SELECT name FROM instance WHERE must_read = 1 ORDER BY name")
        .fetch_all(&mut *db.look().await?)
        .await?)
}

pub(crate) async fn hold_for_journals(db: &Pools, unnamed: &str, at: Instant) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let held = sqlx::query("UPDATE instance SET must_read = 1").execute(&mut *tx).await?.rows_affected();
    if held == 0 {
        sqlx::query("INSERT INTO instance (name, seen_at, must_read) VALUES ($1, $2, 1)")
            .bind(unnamed)
            .bind(at.0)
            .execute(&mut *tx)
            .await?;
    }
    tx.commit().await?;
    Ok(held.max(1))
}

pub(crate) async fn release(db: &Pools) -> Result<Vec<String>> {
    let mut tx = db.begin_write().await?;
    let held: Vec<String> = sqlx::query_scalar("SELECT name FROM instance WHERE must_read = 1 ORDER BY name")
        .fetch_all(&mut *tx)
        .await?;
    sqlx::query("UPDATE instance SET must_read = 0").execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(held)
}

pub(crate) async fn take_journal(db: &Pools, name: &str, told: &[Journaled]) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let mut settled = 0;
    for one in told {
        settled += settle(&mut tx, one).await?;
    }
    sqlx::query("UPDATE instance SET must_read = 0 WHERE name = $1").bind(name).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(settled)
}

/// Closes what the journal knows of: the message where it is here, its alerts in any
/// case, whether they are here by now or come up again.
async fn settle(connection: &mut Connection, told: &Journaled) -> Result<u64> {
    let (state, error) = if told.taken { ("sent", None) } else { ("failed", Some(BY_THE_JOURNAL)) };
    let messages = sqlx::query(
        "UPDATE message SET state = $2, next_try_at = NULL, lease_until = NULL, sent_at = $3, \
         attempts = attempts + 1, last_error = coalesce($4, last_error), failure_told_at = $5 \
         WHERE header_id = $1 AND next_try_at IS NOT NULL",
    )
    .bind(&told.header_id)
    .bind(state)
    .bind(Some(told.at.0).filter(|_| told.taken))
    .bind(error)
    .bind(told.at.0)
    .execute(&mut *connection)
    .await?;
    for key in &told.carries {
        sqlx::query(
            "INSERT INTO journaled (block_id, year, kind, subject, generation, recipient, at) \
             VALUES ($1, $2, $3, $4, $5, $6, $7) \
             ON CONFLICT (block_id, year, kind, subject, generation, recipient) DO NOTHING",
        )
        .bind(&key.block_id)
        .bind(i64::from(key.year))
        .bind(&key.kind)
        .bind(&key.subject)
        .bind(key.generation)
        .bind(&told.recipient)
        .bind(told.at.0)
        .execute(&mut *connection)
        .await?;
        sqlx::query(
            "UPDATE item SET unsent_because = $7 WHERE message_id IS NULL AND unsent_because IS NULL \
             AND recipient = $6 AND alert_id IN (SELECT id FROM alert WHERE block_id = $1 AND year = $2 \
             AND kind = $3 AND subject = $4 AND generation = $5)",
        )
        .bind(&key.block_id)
        .bind(i64::from(key.year))
        .bind(&key.kind)
        .bind(&key.subject)
        .bind(key.generation)
        .bind(&told.recipient)
        .bind(BY_THE_JOURNAL)
        .execute(&mut *connection)
        .await?;
    }
    Ok(messages.rows_affected())
}

/// Leaves items of alerts unsent that a journal knows of.
pub(super) async fn leave_out(connection: &mut Connection, alerts: &[&str]) -> Result<()> {
    let any: i64 = sqlx::query_scalar("SELECT count(*) FROM (SELECT 1 FROM journaled LIMIT 1) AS any_row")
        .fetch_one(&mut *connection)
        .await?;
    if any == 0 {
        return Ok(());
    }
    for alerts in alerts.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new("UPDATE item SET unsent_because = ");
        query.push_bind(BY_THE_JOURNAL).push(
            " WHERE message_id IS NULL AND unsent_because IS NULL AND EXISTS (SELECT 1 FROM alert \
             JOIN journaled ON journaled.block_id = alert.block_id AND journaled.year = alert.year \
             AND journaled.kind = alert.kind AND journaled.subject = alert.subject \
             AND journaled.generation = alert.generation WHERE alert.id = item.alert_id \
             AND journaled.recipient = item.recipient) AND alert_id IN (",
        );
        load::list(&mut query, alerts.iter().copied());
        query.push(")").build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}
