//! What is different on SQLite.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection as _};

use super::appends::Appends;
use crate::rows::Behalf;
use crate::writes::Writes;
use crate::{Result, StoreError};

pub(crate) type Db = sqlx::Sqlite;
pub(crate) type Connection = sqlx::SqliteConnection;
pub(crate) type Tx = sqlx::Transaction<'static, Db>;
/// A connection for one statement that reads.
pub(crate) type Look = sqlx::pool::PoolConnection<Db>;

/// A write transaction holds the whole file, so no row needs a lock.
pub(crate) const LOCK: &str = "";
pub(crate) const LOCK_SEASON: &str = "";
pub(crate) const LOCK_OR_SKIP: &str = "";

/// Keeps the rows in the tree of their key, without a second one for row ids.
pub(crate) const CLUSTERED: &str = "WITHOUT ROWID";

/// How many tables of that name there are.
pub(crate) const COUNT_TABLE: &str = "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = $1";

/// Table, column and declared type of all that the steps made, in order.
pub(crate) const COLUMNS: &str = "SELECT made.name, columns.name, columns.type \
    FROM sqlite_master AS made JOIN pragma_table_info(made.name) AS columns \
    WHERE made.type = 'table' AND made.name NOT LIKE 'sqlite\\_%' ESCAPE '\\' AND made.name <> '_sqlx_migrations' \
    ORDER BY made.rowid, columns.cid";

/// Connections for reading: they never wait for the writer nor it for them.
const READERS: u32 = 4;
/// How long a write waits for another process on the file.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);
/// How long a write waits for those before it: a million readings are stored
/// in a few seconds.
const QUEUE_TIMEOUT: Duration = Duration::from_secs(60);
/// The first version with a fix for two writers that reset the write-ahead
/// log at once, after which the file could be corrupt.
const VERSION_NEEDED: (u32, u32, u32) = (3, 51, 3);

/// One writer and a pool of readers.
#[derive(Debug, Clone)]
pub(crate) struct Pools {
    writer: SqlitePool,
    readers: SqlitePool,
    behalf: Option<Arc<Behalf>>,
    writes: Writes,
    appends: Arc<Appends>,
}

impl Pools {
    /// Opens the file, makes it when it is not there, and checks that every
    /// setting took.
    pub(crate) async fn connect(url: &str) -> Result<Pools> {
        let path = url.strip_prefix("sqlite://").unwrap_or(url);
        check_path(path)?;
        let options = SqliteConnectOptions::new()
            .filename(path)
            .foreign_keys(true)
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(BUSY_TIMEOUT)
            .disable_statement_logging();
        let pool = |connections| {
            SqlitePoolOptions::new()
                .max_connections(connections)
                .acquire_timeout(QUEUE_TIMEOUT)
                .idle_timeout(None)
                .max_lifetime(None)
                .test_before_acquire(false)
        };
        let for_writing = options.clone().create_if_missing(true).journal_mode(SqliteJournalMode::Wal);
        let writer = pool(1).connect_with(for_writing).await?;
        check_settings(&writer).await?;
        let readers = pool(READERS).connect_with(options.read_only(true)).await?;
        check_settings(&readers).await?;
        Ok(Pools { writer, readers, behalf: None, writes: Writes::default(), appends: Arc::default() })
    }

    /// Opens a file at rest to look at it: nothing is written to it or beside it.
    pub(crate) async fn look_at(path: &str) -> Result<Pools> {
        let options = SqliteConnectOptions::new().filename(path).read_only(true).immutable(true);
        let pool =
            SqlitePoolOptions::new().max_connections(1).connect_with(options.disable_statement_logging());
        let readers = pool.await?;
        let writer = readers.clone();
        Ok(Pools { writer, readers, behalf: None, writes: Writes::default(), appends: Arc::default() })
    }

    /// Begins a transaction that writes. It takes the file's write lock at
    /// once: one that took it only at its first write would fail when another
    /// had written since its first read.
    pub(crate) async fn begin_write(&self) -> Result<Tx> {
        self.writes.note();
        self.begin().await
    }

    /// The same for what may change people, their roles and tokens.
    pub(crate) async fn begin_people(&self) -> Result<Tx> {
        self.writes.note_people();
        self.begin().await
    }

    /// Where the disk is full or fails, SQLite ends the transaction by itself, and sqlx
    /// takes it for open ever after: such a connection is exchanged for a new one.
    async fn begin(&self) -> Result<Tx> {
        match self.writer.begin_with("BEGIN IMMEDIATE").await {
            Err(sqlx::Error::InvalidSavePointStatement) => {
                self.writer.acquire().await?.close().await?;
                Ok(self.writer.begin_with("BEGIN IMMEDIATE").await?)
            }
            begun => Ok(begun?),
        }
    }

    /// Appends to logs share the one writer's transactions.
    pub(crate) fn appends(&self) -> Option<&Appends> {
        Some(&self.appends)
    }

    /// Begins a transaction that reads one state of the database.
    pub(crate) async fn begin_read(&self) -> Result<Tx> {
        Ok(self.readers.begin().await?)
    }

    /// Begins one statement that reads.
    pub(crate) async fn look(&self) -> Result<Look> {
        Ok(self.readers.acquire().await?)
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
        self.behalf()?.viewer.as_deref()
    }

    /// How many writes this process has begun and ended.
    pub(crate) fn writes(&self) -> &Writes {
        &self.writes
    }

    /// What no step can say in the words of both databases.
    pub(crate) async fn fortify(&self) -> Result<()> {
        sqlx::raw_sql(include_str!("../../../../migrations/after/sqlite.sql")).execute(&self.writer).await?;
        Ok(())
    }

    /// What is wrong with the file; looked through more closely when `thorough`.
    pub(crate) async fn faults(&self, thorough: bool) -> Result<Vec<String>> {
        let check = if thorough { "PRAGMA integrity_check" } else { "PRAGMA quick_check" };
        let mut said: Vec<String> = sqlx::query_scalar(check).fetch_all(&self.readers).await?;
        said.retain(|line| line != "ok");
        if thorough {
            let lost: Vec<(String, Option<i64>, String, i64)> =
                sqlx::query_as("PRAGMA foreign_key_check").fetch_all(&self.readers).await?;
            said.extend(lost.into_iter().map(|(table, _, parent, _)| {
                format!("a row of table {table} names one of table {parent} that is not there")
            }));
        }
        Ok(said)
    }

    /// The schema version of a file; none when it is not there.
    pub(crate) async fn version_of(path: &str) -> Result<Option<i64>> {
        let path = path.strip_prefix("sqlite://").unwrap_or(path);
        if !Path::new(path).is_file() {
            return Ok(None);
        }
        let mut connection = only_reading(path, false).await?;
        let found = super::schema::found(&mut connection).await?;
        connection.close().await?;
        Ok(Some(found))
    }

    /// Writes one state of the file into another, which must be empty or not be
    /// there yet.
    pub(crate) async fn snapshot(path: &str, into: &str, at_rest: bool) -> Result<()> {
        let path = path.strip_prefix("sqlite://").unwrap_or(path);
        check_path(into)?;
        if !Path::new(path).is_file() {
            return Err(StoreError::Settings(format!("there is no database `{path}`")));
        }
        if std::fs::metadata(into).is_ok_and(|there| there.len() > 0) {
            return Err(StoreError::Settings(format!("`{into}` is there already; name another file")));
        }
        let mut connection = only_reading(path, at_rest).await?;
        sqlx::query("VACUUM INTO $1").bind(into).execute(&mut connection).await?;
        Ok(connection.close().await?)
    }

    /// For a single statement that reads, of the house itself.
    pub(crate) fn reader(&self) -> &SqlitePool {
        &self.readers
    }

    /// For a single statement that writes, of the house itself.
    pub(crate) fn writer(&self) -> &SqlitePool {
        self.writes.note();
        &self.writer
    }

    /// Closes the readers and then the writer, which folds the write-ahead log
    /// into the file.
    pub(crate) async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }
}

/// A file that is at rest is read even where nothing can be written beside it,
/// and nothing is.
async fn only_reading(path: &str, at_rest: bool) -> Result<Connection> {
    let options = SqliteConnectOptions::new().filename(path).read_only(true).busy_timeout(BUSY_TIMEOUT);
    let options = options.immutable(at_rest);
    Ok(options.disable_statement_logging().connect().await?)
}

fn check_path(path: &str) -> Result<()> {
    if path.is_empty() || path.contains(":memory:") {
        return Err(StoreError::Settings(
            "SQLite needs a file, since readers and writer have connections of their own; \
             name one, such as bloomtide.db"
                .into(),
        ));
    }
    let folder = Path::new(path).parent().filter(|folder| !folder.as_os_str().is_empty());
    match folder {
        Some(folder) if !folder.is_dir() => Err(StoreError::Settings(format!(
            "there is no folder `{}` to keep `{path}` in; make it, or name another file",
            folder.display()
        ))),
        _ => Ok(()),
    }
}

async fn check_settings(pool: &SqlitePool) -> Result<()> {
    let mut connection = pool.acquire().await?;
    let version: String = sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&mut *connection).await?;
    check_version(&version)?;
    let journal: String = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&mut *connection).await?;
    let synchronous: i64 = sqlx::query_scalar("PRAGMA synchronous").fetch_one(&mut *connection).await?;
    let foreign_keys: i64 = sqlx::query_scalar("PRAGMA foreign_keys").fetch_one(&mut *connection).await?;
    let complaint = if !journal.eq_ignore_ascii_case("wal") {
        format!(
            "its journal_mode is `{journal}` and could not be set to `wal`; \
             keep the file on a local disk, not on a network share"
        )
    } else if synchronous != 2 {
        format!("its synchronous setting is {synchronous} and could not be set to 2 (full)")
    } else if foreign_keys != 1 {
        "foreign_keys could not be switched on in this build of SQLite".into()
    } else {
        return Ok(());
    };
    Err(StoreError::Settings(complaint))
}

fn check_version(version: &str) -> Result<()> {
    let mut parts = version.split('.').map(|part| part.parse::<u32>().unwrap_or(0));
    let mut part = || parts.next().unwrap_or(0);
    if (part(), part(), part()) >= VERSION_NEEDED {
        return Ok(());
    }
    let (major, minor, patch) = VERSION_NEEDED;
    Err(StoreError::Settings(format!(
        "the program is linked with SQLite {version}, which can corrupt a write-ahead log; \
         build it with {major}.{minor}.{patch} or later"
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_old_library_is_refused_with_its_version() {
        assert!(check_version("3.51.3").is_ok());
        assert!(check_version("3.52.0").is_ok());
        let error = check_version("3.51.2").unwrap_err().to_string();
        assert!(error.contains("3.51.2") && error.contains("3.51.3"), "{error}");
        assert!(check_version("3.9.99").is_err());
    }

    #[test]
    fn a_database_in_memory_is_refused() {
        assert!(check_path(":memory:").is_err());
        assert!(check_path("").is_err());
        assert!(check_path("bloomtide.db").is_ok());
        assert!(check_path("/nowhere/at/all/bloomtide.db").is_err());
    }

    async fn pragmas(pool: &SqlitePool) -> (String, i64, i64) {
        let mut connection = pool.acquire().await.unwrap();
        let journal = sqlx::query_scalar("PRAGMA journal_mode");
        let synchronous = sqlx::query_scalar("PRAGMA synchronous");
        let foreign_keys = sqlx::query_scalar("PRAGMA foreign_keys");
        (
            journal.fetch_one(&mut *connection).await.unwrap(),
            synchronous.fetch_one(&mut *connection).await.unwrap(),
            foreign_keys.fetch_one(&mut *connection).await.unwrap(),
        )
    }

    #[tokio::test]
    async fn settings_are_on_in_every_connection() {
        let folder = tempfile::tempdir().unwrap();
        let pools = Pools::connect(folder.path().join("a.db").to_str().unwrap()).await.unwrap();
        let expected = ("wal".to_owned(), 2, 1);
        assert_eq!(pragmas(&pools.writer).await, expected);
        assert_eq!(pools.writer.options().get_max_connections(), 1);
        let mut held = Vec::new();
        for _ in 0..READERS {
            // Those held are busy, so each turn looks at another one.
            assert_eq!(pragmas(&pools.readers).await, expected);
            held.push(pools.readers.acquire().await.unwrap());
        }
        let write = sqlx::query("CREATE TABLE x (y BIGINT)").execute(&mut *held[0]).await;
        assert!(write.unwrap_err().to_string().contains("readonly"), "readers cannot write");
    }

    #[tokio::test]
    async fn a_setting_that_did_not_take_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let lax = SqliteConnectOptions::new()
            .filename(folder.path().join("a.db"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Normal);
        let pool = SqlitePool::connect_with(lax.clone()).await.unwrap();
        let error = check_settings(&pool).await.unwrap_err().to_string();
        assert!(error.contains("synchronous"), "{error}");
        let lax = lax.synchronous(SqliteSynchronous::Full).foreign_keys(false);
        let pool = SqlitePool::connect_with(lax).await.unwrap();
        let error = check_settings(&pool).await.unwrap_err().to_string();
        assert!(error.contains("foreign_keys"), "{error}");
        let other = SqliteConnectOptions::new()
            .filename(folder.path().join("b.db"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Delete);
        let pool = SqlitePool::connect_with(other).await.unwrap();
        let error = check_settings(&pool).await.unwrap_err().to_string();
        assert!(error.contains("journal_mode"), "{error}");
    }
}
