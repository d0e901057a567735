//! Opening, migrating, refusing, closing.

use sqlx::{Connection, PgConnection, SqliteConnection};
use store::{Store, StoreError};

use crate::suite::{Suite, call};

pub async fn sqlite(suite: &Suite) {
    suite.called("migrate");
    assert_eq!(Store::migrate(&suite.url).await.unwrap(), (0, 6));
    assert_eq!(Store::migrate(&suite.url).await.unwrap(), (6, 6));
    let mut raw = SqliteConnection::connect(&suite.url).await.unwrap();
    let journal: String = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&mut raw).await.unwrap();
    assert_eq!(journal, "wal");
    let readings: String = sqlx::query_scalar("SELECT sql FROM sqlite_master WHERE name = 'reading'")
        .fetch_one(&mut raw)
        .await
        .unwrap();
    assert!(readings.ends_with("WITHOUT ROWID"), "{readings}");

    let nowhere = Store::open("/no/such/folder/orchard.db").await.unwrap_err();
    assert!(nowhere.to_string().contains("/no/such/folder"), "{nowhere}");
    assert!(matches!(Store::open(":memory:").await, Err(StoreError::Settings(_))));
}

pub async fn postgres(suite: &Suite) {
    let behind = Store::open(&suite.url).await.unwrap_err();
    assert!(matches!(behind, StoreError::Behind { found: 0, needed: 6 }), "{behind}");
    assert!(behind.to_string().contains("run `bloomtide migrate`"), "{behind}");
    suite.called("migrate");
    assert_eq!(Store::migrate(&suite.owner).await.unwrap(), (0, 6));
    assert_eq!(Store::migrate(&suite.owner).await.unwrap(), (6, 6));
}

pub async fn unsafe_postgres(url: &str) {
    Store::migrate(url).await.unwrap();
    let mut raw = PgConnection::connect(url).await.unwrap();
    let name = url.rsplit('/').next().unwrap();
    let off = format!("ALTER DATABASE {name} SET synchronous_commit = off");
    sqlx::query(sqlx::AssertSqlSafe(off)).execute(&mut raw).await.unwrap();
    let refused = Store::open(url).await.unwrap_err();
    assert!(matches!(refused, StoreError::Settings(_)), "{refused}");
    assert!(refused.to_string().contains("synchronous_commit = off"), "{refused}");
    raw.close().await.unwrap();
}

const LATER: &str = "INSERT INTO _sqlx_migrations \
    (version, description, success, checksum, execution_time) VALUES (999, 'later', TRUE, $1, 0)";

pub async fn newer_sqlite(suite: &Suite) {
    let mut raw = SqliteConnection::connect(&suite.url).await.unwrap();
    sqlx::query(LATER).bind(vec![0_u8]).execute(&mut raw).await.unwrap();
    raw.close().await.unwrap();
    newer(suite).await;
}

pub async fn newer_postgres(suite: &Suite) {
    let mut raw = PgConnection::connect(&suite.owner).await.unwrap();
    sqlx::query(LATER).bind(vec![0_u8]).execute(&mut raw).await.unwrap();
    raw.close().await.unwrap();
    newer(suite).await;
}

async fn newer(suite: &Suite) {
    for refused in [Store::open(&suite.url).await.map(drop), Store::migrate(&suite.owner).await.map(drop)] {
        let refused = refused.unwrap_err();
        assert!(matches!(refused, StoreError::Newer { found: 999, known: 6 }), "{refused}");
        let said = refused.to_string();
        assert!(said.contains("the database is newer than this program"), "{said}");
    }
}

pub async fn closing(suite: &Suite) {
    call!(suite, ping()).unwrap();
    assert_eq!(call!(suite, schema_version()).unwrap(), 999);
    call!(suite, close()).unwrap();
    assert!(call!(suite, ping()).is_err());
}
