//! What is different on Postgres.

use std::ops::{Deref, DerefMut};
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use sqlx::ConnectOptions;
use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};

use super::appends::Appends;
use crate::rows::Behalf;
use crate::writes::Writes;
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

/// Table, column and declared type of all that the steps made, in order.
pub(crate) const COLUMNS: &str = "SELECT made.relname::text, part.attname::text, \
    format_type(part.atttypid, part.atttypmod) FROM pg_class AS made JOIN pg_attribute AS part ON part.attrelid = made.oid \
    WHERE made.relkind = 'r' AND made.relnamespace = current_schema()::text::regnamespace \
    AND part.attnum > 0 AND NOT part.attisdropped AND made.relname <> '_sqlx_migrations' ORDER BY made.oid, part.attnum";

/// Connections of one instance: enough for its loops and requests, few enough
/// that several instances stay under Postgres' usual 100.
const CONNECTIONS: u32 = 12;
/// How long a request waits for a connection.
const QUEUE_TIMEOUT: Duration = Duration::from_secs(30);

/// One pool for reading and writing.
#[derive(Debug, Clone)]
pub(crate) struct Pools {
    pool: PgPool,
    behalf: Option<Arc<Behalf>>,
    writes: Writes,
    /// Only a test of the second wall takes the first one down.
    first_wall_down: bool,
}

/// A connection for one statement that reads: behind the wall where it is on a
/// person's behalf.
pub(crate) enum Look {
    House(sqlx::pool::PoolConnection<Db>),
    Walled(Tx),
}

impl Deref for Look {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        match self {
            Look::House(connection) => connection,
            Look::Walled(tx) => tx,
        }
    }
}

impl DerefMut for Look {
    fn deref_mut(&mut self) -> &mut Connection {
        match self {
            Look::House(connection) => connection,
            Look::Walled(tx) => tx,
        }
    }
}

/// An instance that is suspended amid a transaction holds its locks for as long as
/// its machine sleeps, and all others wait. No transaction of ours thinks so long
/// between two statements; the one that is cut is begun anew.
const END_IDLE: &str = "SET idle_in_transaction_session_timeout = '60s'";

/// The role that a transaction on a person's behalf steps down to, and the
/// setting by which the policies know the person.
const STEP_DOWN: &str = "SELECT set_config('role', 'bloomtide_people', true), \
    set_config('bloomtide.viewer', $1, true)";

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
            .after_connect(|connection, _| {
                Box::pin(async move { sqlx::query(END_IDLE).execute(connection).await.map(|_| ()) })
            })
            .connect_with(options)
            .await?;
        let pools = Pools { pool, behalf: None, writes: Writes::default(), first_wall_down: false };
        for setting in ["fsync", "full_page_writes", "synchronous_commit"] {
            let value: String =
                sqlx::query_scalar("SELECT current_setting($1)").bind(setting).fetch_one(&pools.pool).await?;
            check_setting(setting, &value)?;
        }
        Ok(pools)
    }

    /// Begins a transaction that writes.
    pub(crate) async fn begin_write(&self) -> Result<Tx> {
        self.writes.note();
        self.stepped_down(self.pool.begin().await?).await
    }

    /// The same for what may change people, their roles and tokens.
    pub(crate) async fn begin_people(&self) -> Result<Tx> {
        self.writes.note_people();
        self.stepped_down(self.pool.begin().await?).await
    }

    /// Each append has a transaction of its own: the server syncs those of many
    /// connections together.
    pub(crate) fn appends(&self) -> Option<&Appends> {
        None
    }

    /// Begins a transaction that reads one state of the database.
    pub(crate) async fn begin_read(&self) -> Result<Tx> {
        let tx = self.pool.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await?;
        self.stepped_down(tx).await
    }

    /// Begins one statement that reads.
    pub(crate) async fn look(&self) -> Result<Look> {
        match self.viewer() {
            Some(_) => Ok(Look::Walled(self.begin_read().await?)),
            None => Ok(Look::House(self.pool.acquire().await?)),
        }
    }

    /// A transaction on a person's behalf goes on behind the second wall.
    async fn stepped_down(&self, mut tx: Tx) -> Result<Tx> {
        if let Some(viewer) = self.viewer() {
            sqlx::query(STEP_DOWN).bind(viewer).execute(&mut *tx).await?;
        }
        Ok(tx)
    }

    fn viewer(&self) -> Option<&str> {
        self.behalf()?.viewer.as_deref()
    }

    /// The same connections, asked on someone's behalf.
    pub(crate) fn on_behalf(&self, behalf: Arc<Behalf>) -> Pools {
        Pools { behalf: Some(behalf), ..self.clone() }
    }

    /// On whose behalf they are asked; none for the house itself.
    pub(crate) fn behalf(&self) -> Option<&Behalf> {
        self.behalf.as_deref()
    }

    /// The person whose roles count; none when all farms are seen.
    pub(crate) fn person(&self) -> Option<&str> {
        self.viewer().filter(|_| !self.first_wall_down)
    }

    /// The same without the first wall, to see whether the second one holds.
    #[cfg(test)]
    pub(crate) fn without_first_wall(&self) -> Pools {
        Pools { first_wall_down: true, ..self.clone() }
    }

    /// How many writes this process has begun and ended.
    pub(crate) fn writes(&self) -> &Writes {
        &self.writes
    }

    /// What no step can say in the words of both databases: the second wall.
    pub(crate) async fn fortify(&self) -> Result<()> {
        let roles: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM pg_roles WHERE rolname IN ('bloomtide_people', 'bloomtide_loops')",
        )
        .fetch_one(&self.pool)
        .await?;
        if roles != 2 {
            return Err(StoreError::Settings(
                "this server has no roles bloomtide_people and bloomtide_loops; let its administrator run \
                 deploy/postgres.sql once"
                    .into(),
            ));
        }
        let walls = include_str!("../../../../migrations/after/postgres.sql");
        sqlx::raw_sql(walls).execute(&self.pool).await?;
        Ok(())
    }

    /// Refuses a role that the second wall would not stop.
    pub(crate) async fn require_walls(&self) -> Result<()> {
        let (name, above, owner, steps): (String, bool, bool, bool) = sqlx::query_as(
            "SELECT current_user::text, rolsuper OR rolbypassrls, \
             EXISTS (SELECT 1 FROM pg_class WHERE relname = 'farm' AND relnamespace = current_schema()::text::regnamespace \
             AND pg_has_role(current_user, relowner, 'MEMBER')), \
             pg_has_role(current_user, 'bloomtide_people', 'MEMBER') \
             AND pg_has_role(current_user, 'bloomtide_loops', 'USAGE') \
             FROM pg_roles WHERE rolname = current_user",
        )
        .fetch_one(&self.pool)
        .await?;
        let fault = match (above, owner, steps) {
            (true, _, _) => "is a superuser or bypasses row security",
            (_, true, _) => "owns the tables",
            (_, _, false) => "is no member of bloomtide_people and bloomtide_loops",
            _ => return self.require_policies().await,
        };
        Err(StoreError::Settings(format!(
            "the role `{name}` {fault}, and the wall between farms would not hold; run `bloomtide migrate` as the \
             owner and the service as a role like the one that deploy/postgres.sql makes"
        )))
    }

    /// Refuses a database one of whose tables the second wall does not stand
    /// before.
    async fn require_policies(&self) -> Result<()> {
        let open: Vec<String> = sqlx::query_scalar(
            "SELECT relname::text FROM pg_class WHERE relkind = 'r' AND NOT relrowsecurity \
             AND relnamespace = current_schema()::text::regnamespace AND relname NOT IN ('_sqlx_migrations') \
             ORDER BY relname",
        )
        .fetch_all(&self.pool)
        .await?;
        if open.is_empty() {
            return Ok(());
        }
        Err(StoreError::Settings(format!(
            "the wall between farms is missing before {}; run `bloomtide migrate` as the owner",
            open.join(", ")
        )))
    }

    /// Postgres looks after its own pages.
    pub(crate) async fn faults(&self, _thorough: bool) -> Result<Vec<String>> {
        Ok(Vec::new())
    }

    /// For a single statement that reads, of the house itself.
    pub(crate) fn reader(&self) -> &PgPool {
        &self.pool
    }

    /// For a single statement that writes, of the house itself.
    pub(crate) fn writer(&self) -> &PgPool {
        self.writes.note();
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
