//! What is different on Postgres.

use std::str::FromStr;
use std::time::Duration;

use sqlx::ConnectOptions;
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};

use crate::{Result, StoreError};

pub(crate) type Db = sqlx::Postgres;
pub(crate) type Connection = sqlx::PgConnection;
pub(crate) type Tx = sqlx::Transaction<'static, Db>;

/// Holds the rows read until the transaction ends.
pub(crate) const LOCK: &str = " FOR UPDATE";
pub(crate) const LOCK_SEASON: &str = " FOR UPDATE OF season";
/// As [`LOCK`], leaving out rows that others hold.
pub(crate) const LOCK_OR_SKIP: &str = " FOR UPDATE SKIP LOCKED";

/// Postgres keeps rows in a heap of its own.
pub(crate) const CLUSTERED: &str = "";

/// How many tables of that name there are.
pub(crate) const COUNT_TABLE: &str = "SELECT count(*) FROM pg_class WHERE oid = to_regclass($1)";

/// Connections of one instance: enough for its loops and requests, few enough
/// that several instances stay under Postgres' usual 100.
const CONNECTIONS: u32 = 12;
/// How long a request waits for a connection.
const QUEUE_TIMEOUT: Duration = Duration::from_secs(30);

/// One pool for reading and writing.
#[derive(Debug, Clone)]
pub(crate) struct Pools {
    pool: PgPool,
}

impl Pools {
    /// Connects and checks the settings on which durability rests.
    pub(crate) async fn connect(url: &str) -> Result<Pools> {
        let options = PgConnectOptions::from_str(url)
            .map_err(|error| {
                StoreError::Settings(format!(
                    "the URL does not read ({error}); write it like \
                     postgres://user@host:5432/database"
                ))
            })?
            .application_name("bloomtide")
            .disable_statement_logging();
        let pool = PgPoolOptions::new()
            .max_connections(CONNECTIONS)
            .acquire_timeout(QUEUE_TIMEOUT)
            .connect_with(options)
            .await?;
        let pools = Pools { pool };
        for setting in ["fsync", "full_page_writes", "synchronous_commit"] {
            let value: String =
                sqlx::query_scalar("SELECT current_setting($1)").bind(setting).fetch_one(&pools.pool).await?;
            check_setting(setting, &value)?;
        }
        Ok(pools)
    }

    /// Begins a transaction that writes.
    pub(crate) async fn begin_write(&self) -> Result<Tx> {
        Ok(self.pool.begin().await?)
    }

    /// Begins a transaction that reads one state of the database.
    pub(crate) async fn begin_read(&self) -> Result<Tx> {
        Ok(self.pool.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?)
    }

    /// For a single statement that reads.
    pub(crate) fn reader(&self) -> &PgPool {
        &self.pool
    }

    /// For a single statement that writes.
    pub(crate) fn writer(&self) -> &PgPool {
        &self.pool
    }

    pub(crate) async fn close(&self) {
        self.pool.close().await;
    }
}

/// `synchronous_commit` has stronger values than `on`, and weaker ones that
/// still wait for the local disk; only `off` loses what was promised.
fn check_setting(setting: &str, value: &str) -> Result<()> {
    if value != "off" {
        return Ok(());
    }
    Err(StoreError::Settings(format!(
        "Postgres runs with {setting} = off and could lose what it confirmed; \
         set it to on in postgresql.conf, reload, and start again"
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_that_loses_data_is_named() {
        assert!(check_setting("synchronous_commit", "remote_apply").is_ok());
        let error = check_setting("fsync", "off").unwrap_err().to_string();
        assert!(error.contains("fsync = off"), "{error}");
    }
}
