//! The schema's version, and signs of life.

use sqlx::migrate::Migrate;

use super::{Connection, Pools, dialect};
use crate::{Result, StoreError, migrations};

pub(crate) async fn ping(db: &Pools) -> Result<()> {
    sqlx::query("SELECT 1").execute(db.reader()).await?;
    Ok(())
}

pub(crate) async fn close(db: &Pools) -> Result<()> {
    db.close().await;
    Ok(())
}

pub(crate) async fn schema_version(db: &Pools) -> Result<i64> {
    found(&mut *db.reader().acquire().await?).await
}

/// The latest step taken; 0 in an empty database.
async fn found(connection: &mut Connection) -> Result<i64> {
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
