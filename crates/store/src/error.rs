//! What can go wrong in the store, and what to do about it.

use sqlx::error::ErrorKind;

/// The result of every method of the store.
pub type Result<T, E = StoreError> = std::result::Result<T, E>;

/// Why the store did not do what it was asked to. Nothing is half written:
/// the transaction of the method was rolled back.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A row that was asked for, or that a new row names, is not there.
    #[error("there is no {what}; check the id")]
    NotFound {
        /// Which row, with its id.
        what: String,
    },
    /// Something else already stands under that name or id.
    #[error("{what}; what is stored was left as it is")]
    Conflict {
        /// What stands where, with its id.
        what: String,
    },
    /// A row that was to be changed is no longer as it was read.
    #[error("the {what} has changed since it was read; read it again and repeat the change")]
    Changed {
        /// Which row, with its id.
        what: String,
    },
    /// It stays as it is: nothing is added to it any more.
    #[error("{what} and is only read; open it again to change anything")]
    Closed {
        /// What is closed.
        what: &'static str,
    },
    /// The value cannot be kept as given.
    #[error("{0}")]
    Refused(String),
    /// A later program has changed this database.
    #[error(
        "the database is newer than this program (schema {found}, this program knows {known}); \
         start the newer program, or restore a backup from before it"
    )]
    Newer {
        /// Schema version found in the database.
        found: i64,
        /// Latest schema version that this program knows.
        known: i64,
    },
    /// The database needs this program's migrations first.
    #[error(
        "the database is behind this program (schema {found}, needed {needed}); \
         make a backup, then run `bloomtide migrate`"
    )]
    Behind {
        /// Schema version found in the database; 0 for an empty one.
        found: i64,
        /// Schema version that this program needs.
        needed: i64,
    },
    /// The database is set up in a way that could lose what it was given.
    #[error("the database cannot be used: {0}")]
    Settings(String),
    /// Others held the database for longer than a request can wait.
    #[error("the database was busy for too long ({0}); nothing was changed, try again")]
    Busy(String),
    /// A stored row does not read back.
    #[error("the {what} does not read back from the database ({why}); restore it from a backup")]
    Unreadable {
        /// Which row and column.
        what: String,
        /// What is wrong with it.
        why: String,
    },
    /// Bringing the schema up to date failed.
    #[error("bringing the database up to date failed: {0}; nothing of that step was kept")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// Anything else that the database said.
    #[error("the database failed: {0}; nothing was changed")]
    Database(sqlx::Error),
}

/// SQLite's primary result codes for "another connection holds the lock".
const SQLITE_BUSY: i64 = 5;
const SQLITE_LOCKED: i64 = 6;
/// Postgres: lock not available, serialization failure, deadlock, too many
/// connections.
const POSTGRES_BUSY: [&str; 4] = ["55P03", "40001", "40P01", "53300"];

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> StoreError {
        if matches!(error, sqlx::Error::PoolTimedOut) {
            return StoreError::Busy("no free connection".into());
        }
        let busy = error.as_database_error().and_then(|said| said.code()).is_some_and(|code| {
            // SQLite's extended codes carry the primary one in the low byte;
            // Postgres' are five characters long.
            POSTGRES_BUSY.contains(&code.as_ref())
                || code.len() < 5
                    && code
                        .parse::<i64>()
                        .is_ok_and(|code| matches!(code & 0xff, SQLITE_BUSY | SQLITE_LOCKED))
        });
        if busy { StoreError::Busy(error.to_string()) } else { StoreError::Database(error) }
    }
}

/// Names the row that an insert was about when a key of it is taken, or when
/// a row that it names is not there.
pub(crate) fn naming(what: String, names: &str) -> impl FnOnce(sqlx::Error) -> StoreError {
    let names = names.to_owned();
    move |error| match error.as_database_error().map(|said| said.kind()) {
        Some(ErrorKind::UniqueViolation) => StoreError::Conflict { what: format!("{what} already exists") },
        Some(ErrorKind::ForeignKeyViolation) => StoreError::NotFound { what: names },
        _ => error.into(),
    }
}

/// The row `what` with `id`, when it is no longer as it was.
pub(crate) fn changed(what: &str, id: &str) -> StoreError {
    StoreError::Changed { what: format!("{what} `{id}`") }
}

/// The row `what` with `id`, when it is not there.
pub(crate) fn missing(what: &str, id: &str) -> StoreError {
    StoreError::NotFound { what: format!("{what} `{id}`") }
}
