//! The schema's version, and signs of life.

use sqlx::migrate::Migrate;

use model::time::{HOUR, Instant};

use super::{Connection, Pools, dialect};
use crate::rows::Figures;
use crate::{Result, StoreError, migrations};

pub(crate) async fn ping(db: &Pools) -> Result<()> {
    sqlx::query("SELECT 1").execute(db.reader()).await?;
    Ok(())
}

pub(crate) async fn faults(db: &Pools, thorough: bool) -> Result<Vec<String>> {
    db.faults(thorough).await
}

/// A cell that was due so long ago, or a lease that ran out so long ago, is stuck.
const STUCK_AFTER: i64 = 2 * HOUR;

pub(crate) async fn figures(db: &Pools, now: Instant) -> Result<Figures> {
    type Counts = (i64, i64, i64, i64, i64, i64, i64, i64, i64, Option<i64>, i64, i64, i64);
    let (farms, blocks, seasons, alerts, uncomposed, waiting, failed, cells, failing, oldest, blind, stuck, unread): Counts =
        sqlx::query_as(
            "SELECT (SELECT count(*) FROM farm WHERE closed_at IS NULL), \
         (SELECT count(*) FROM block WHERE archived_at IS NULL), (SELECT count(*) FROM season), \
         (SELECT count(*) FROM alert), \
         (SELECT count(*) FROM item WHERE message_id IS NULL AND unsent_because IS NULL), \
         (SELECT count(*) FROM message WHERE next_try_at IS NOT NULL), \
         (SELECT count(*) FROM message WHERE state = 'failed'), (SELECT count(*) FROM cell), \
         (SELECT count(*) FROM cell WHERE last_error IS NOT NULL), (SELECT min(coalesce(cell.last_ok_at, \
         (SELECT min(source.created_at) FROM source WHERE source.provider = cell.provider AND source.cell = cell.cell))) FROM cell), \
         (SELECT count(DISTINCT block.site_id) FROM alert JOIN block ON block.id = alert.block_id \
         WHERE alert.kind = 'blind' AND alert.status = 'told' AND alert.withdrawn_at IS NULL AND alert.useful_until > $1), \
         (SELECT count(*) FROM cell WHERE next_at <= $2) + (SELECT count(*) FROM message \
         WHERE next_try_at IS NOT NULL AND lease_until <= $2), \
         (SELECT count(*) FROM instance WHERE must_read = 1)",
        )
        .bind(now.0)
        .bind(now.plus(-STUCK_AFTER).0)
        .fetch_one(db.reader())
        .await?;
    let count = |number: i64| number.unsigned_abs();
    Ok(Figures {
        farms: count(farms),
        blocks: count(blocks),
        seasons: count(seasons),
        alerts: count(alerts),
        unsent: count(uncomposed + waiting),
        failed: count(failed),
        cells: count(cells),
        cells_failing: count(failing),
        oldest_fetch: oldest.map(Instant),
        blind_sites: count(blind),
        stuck: count(stuck),
        unread_journals: count(unread),
    })
}

pub(crate) async fn close(db: &Pools) -> Result<()> {
    db.close().await;
    Ok(())
}

pub(crate) async fn schema_version(db: &Pools) -> Result<i64> {
    found(&mut *db.reader().acquire().await?).await
}

/// The latest step taken; 0 in an empty database.
pub(super) async fn found(connection: &mut Connection) -> Result<i64> {
    let tables: i64 =
        sqlx::query_scalar(dialect::COUNT_TABLE).bind(migrations::TABLE).fetch_one(&mut *connection).await?;
    if tables == 0 {
        return Ok(0);
    }
    let taken = connection.list_applied_migrations(migrations::TABLE).await?;
    Ok(taken.iter().map(|step| step.version).max().unwrap_or(0))
}

fn not_newer(found: i64) -> Result<i64> {
    if found > migrations::LATEST {
        return Err(StoreError::Newer { found, known: migrations::LATEST });
    }
    Ok(found)
}

/// Refuses a database that is not at the version of this program.
#[allow(dead_code, reason = "an SQLite file is brought up to date instead")]
pub(crate) async fn require_current(db: &Pools) -> Result<()> {
    let found = not_newer(schema_version(db).await?)?;
    if found < migrations::LATEST {
        return Err(StoreError::Behind { found, needed: migrations::LATEST });
    }
    Ok(())
}

/// Takes the steps that are missing; gives the version before and after.
pub(crate) async fn bring_up_to_date(db: &Pools) -> Result<(i64, i64)> {
    let before = not_newer(found(&mut *db.writer().acquire().await?).await?)?;
    if before < migrations::LATEST {
        migrations::migrator(dialect::CLUSTERED).run(db.writer()).await?;
        tracing::info!(from = before, to = migrations::LATEST, "database brought up to date");
    }
    Ok((before, migrations::LATEST))
}
