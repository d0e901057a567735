//! Opening, migrating, refusing, closing.

use std::sync::atomic::{AtomicU64, Ordering};

use sqlx::{Connection, PgConnection, SqliteConnection};
use store::{SCHEMA, Store, StoreError};

use crate::suite::{Suite, call};

pub async fn sqlite(suite: &Suite) {
    suite.called("migrate");
    assert_eq!(Store::migrate(&suite.url).await.unwrap(), (0, SCHEMA));
    assert_eq!(Store::migrate(&suite.url).await.unwrap(), (SCHEMA, SCHEMA));
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
    assert!(matches!(behind, StoreError::Behind { found: 0, needed: SCHEMA }), "{behind}");
    assert!(behind.to_string().contains("run `bloomtide migrate`"), "{behind}");
    suite.called("migrate");
    assert_eq!(Store::migrate(&suite.owner).await.unwrap(), (0, SCHEMA));
    assert_eq!(Store::migrate(&suite.owner).await.unwrap(), (SCHEMA, SCHEMA));
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
        assert!(matches!(refused, StoreError::Newer { found: 999, known: SCHEMA }), "{refused}");
        let said = refused.to_string();
        assert!(said.contains("the database is newer than this program"), "{said}");
    }
}

/// What the suite wrote, from this database into one of each kind and back.
pub async fn copying(suite: &Suite, empty_postgres: &str) {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    suite.called("copy_to");
    let before = call!(suite, sums()).unwrap();
    assert!(before.iter().filter(|table| table.rows > 0).count() > 15, "{before:?}");
    let over = AtomicU64::new(0);
    let told = |rows| over.store(rows, Ordering::Relaxed);

    let file = Store::open(&at("copy.db")).await.unwrap();
    let copied = suite.store().copy_to(&file, &told).await.unwrap();
    assert_eq!(copied, before);
    assert_eq!(over.into_inner(), before.iter().map(|table| table.rows).sum::<u64>());
    assert_eq!(file.faults(true).await.unwrap(), Vec::<String>::new());
    let again = suite.store().copy_to(&file, &|_| ()).await.unwrap_err();
    assert!(again.to_string().contains("has rows in table `farm` already"), "{again}");
    assert_eq!(file.sums().await.unwrap(), before, "left as it was");

    let server = Store::open(empty_postgres).await.unwrap();
    assert_eq!(file.copy_to(&server, &|_| ()).await.unwrap(), before);
    assert_eq!(server.sums().await.unwrap(), before);
    // What was copied can be gone on with.
    let farm = crate::rows::farm();
    server.add_farm(&farm).await.unwrap();
    assert_ne!(server.sums().await.unwrap(), before);
    server.close().await.unwrap();

    suite.called("snapshot");
    Store::snapshot(&at("copy.db"), &at("shot.db"), false).await.unwrap();
    suite.called("look_at");
    let looked = Store::look_at(&at("shot.db")).await.unwrap();
    assert_eq!(looked.sums().await.unwrap(), before);
    assert_eq!(looked.faults(true).await.unwrap(), Vec::<String>::new());
    assert!(looked.add_farm(&farm).await.is_err(), "it is only looked at");
    looked.close().await.unwrap();
    let beside: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|file| file.unwrap().file_name()).collect();
    assert!(!beside.iter().any(|name| name.to_string_lossy().starts_with("shot.db-")), "{beside:?}");
    let shot = Store::open(&at("shot.db")).await.unwrap();
    assert_eq!(shot.sums().await.unwrap(), before);
    let there = Store::snapshot(&at("copy.db"), &at("shot.db"), false).await.unwrap_err();
    assert!(there.to_string().contains("is there already"), "{there}");
    suite.called("version_of");
    assert_eq!(Store::version_of(&at("copy.db")).await.unwrap(), Some(store::SCHEMA));
    assert_eq!(Store::version_of(empty_postgres).await.unwrap(), Some(store::SCHEMA));
    assert_eq!(Store::version_of(&at("none.db")).await.unwrap(), None);
    let none = Store::snapshot(&at("none.db"), &at("new.db"), true).await.unwrap_err();
    assert!(none.to_string().contains("there is no database"), "{none}");
    assert!(!folder.path().join("new.db").exists());
    shot.close().await.unwrap();
    file.close().await.unwrap();
}

pub async fn sound(suite: &Suite) {
    for thorough in [false, true] {
        assert_eq!(call!(suite, faults(thorough)).unwrap(), Vec::<String>::new());
    }
}

/// Pages of a file overwritten behind the program's back are found.
pub async fn damaged_sqlite() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.db");
    let store = Store::open(path.to_str().unwrap()).await.unwrap();
    for _ in 0..200 {
        store.add_farm(&crate::rows::farm()).await.unwrap();
    }
    store.close().await.unwrap();
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    for page in bytes[middle..].chunks_mut(4096) {
        let end = page.len().min(512);
        page[8..end].fill(0xa5);
    }
    std::fs::write(&path, bytes).unwrap();
    // Opening reads too little to see it, or refuses already.
    if let Ok(store) = Store::open(path.to_str().unwrap()).await {
        let found = store.faults(false).await;
        assert!(found.is_err() || !found.unwrap().is_empty(), "the damage was not seen");
    }
}

pub async fn closing(suite: &Suite) {
    call!(suite, ping()).unwrap();
    assert_eq!(call!(suite, schema_version()).unwrap(), 999);
    call!(suite, close()).unwrap();
    assert!(call!(suite, ping()).is_err());
}
