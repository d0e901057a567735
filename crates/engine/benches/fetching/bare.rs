//! What it is compared to: a loop that fetches the same bodies, one of a provider
//! after another, looks at none of them, and inserts the same rows.

use std::collections::BTreeMap;
use std::time::{Duration, Instant as Stopwatch};

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{Connection, QueryBuilder, Sqlite, SqliteConnection};

type Reading = (i64, i64, i64, f64, i64, i64, i64);
type Air = (i64, i64, Option<f64>, Option<f64>, Option<f64>, Option<f64>, Option<f64>, i64);
type Forecast = (String, i64, i64, String);

/// The rows of one source.
#[derive(Default)]
struct Rows {
    readings: Vec<Reading>,
    air: Vec<Air>,
    forecasts: Vec<Forecast>,
}

/// Fetches and inserts; gives the time that took.
pub async fn run(database: &str, address: &str, asked: &[String]) -> Duration {
    let mut filled = SqliteConnection::connect(database).await.unwrap();
    let sources: Vec<(i64, String, String)> =
        sqlx::query_as("SELECT number, id, provider FROM source ORDER BY number")
            .fetch_all(&mut filled)
            .await
            .unwrap();
    let mut rows: BTreeMap<String, Vec<Rows>> = BTreeMap::new();
    for (number, id, provider) in sources {
        let readings =
            "SELECT source, at, span, celsius, flag, received_at, revision FROM reading WHERE source = $1";
        let air = "SELECT source, at, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c, received_at FROM air WHERE source = $1";
        let forecasts = "SELECT source_id, issued_at, fetched_at, hours FROM forecast WHERE source_id = $1";
        rows.entry(provider).or_default().push(Rows {
            readings: sqlx::query_as(readings).bind(number).fetch_all(&mut filled).await.unwrap(),
            air: sqlx::query_as(air).bind(number).fetch_all(&mut filled).await.unwrap(),
            forecasts: sqlx::query_as(forecasts).bind(id).fetch_all(&mut filled).await.unwrap(),
        });
    }
    let all: usize =
        rows.values().flatten().map(|rows| rows.readings.len() + rows.air.len() + rows.forecasts.len()).sum();
    println!("{all} rows");
    let folder = tempfile::tempdir().unwrap();
    let options = SqliteConnectOptions::new()
        .filename(folder.path().join("bare.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let mut connection = SqliteConnection::connect_with(&options).await.unwrap();
    for table in ["reading", "air", "forecast"] {
        let sql: String = sqlx::query_scalar("SELECT sql FROM sqlite_master WHERE name = $1")
            .bind(table)
            .fetch_one(&mut filled)
            .await
            .unwrap();
        sqlx::query(sqlx::AssertSqlSafe(sql.replace(" REFERENCES source (id)", "")))
            .execute(&mut connection)
            .await
            .unwrap();
    }
    let client = reqwest::Client::new();
    let begun = Stopwatch::now();
    let mut fetches = tokio::task::JoinSet::new();
    for provider in rows.keys() {
        let prefix = format!("/{provider}/");
        let urls: Vec<String> = asked
            .iter()
            .filter(|path| path.starts_with(&prefix))
            .map(|path| format!("http://{address}{path}"))
            .collect();
        let (client, provider) = (client.clone(), provider.clone());
        fetches.spawn(async move {
            for url in urls {
                let body = client.get(url).send().await.unwrap().bytes().await.unwrap();
                assert!(!body.is_empty());
            }
            provider
        });
    }
    while let Some(provider) = fetches.join_next().await {
        for rows in &rows[&provider.unwrap()] {
            insert(&mut connection, rows).await;
        }
    }
    begun.elapsed()
}

/// One source's rows in one transaction.
async fn insert(connection: &mut SqliteConnection, rows: &Rows) {
    let mut tx = connection.begin().await.unwrap();
    if !rows.readings.is_empty() {
        let mut query = QueryBuilder::<Sqlite>::new(
            "INSERT INTO reading (source, at, span, celsius, flag, received_at, revision) ",
        );
        query.push_values(&rows.readings, |mut row, reading| {
            row.push_bind(reading.0).push_bind(reading.1).push_bind(reading.2).push_bind(reading.3);
            row.push_bind(reading.4).push_bind(reading.5).push_bind(reading.6);
        });
        query.build().execute(&mut *tx).await.unwrap();
    }
    if !rows.air.is_empty() {
        let mut query = QueryBuilder::<Sqlite>::new(
            "INSERT INTO air (source, at, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c, received_at) ",
        );
        query.push_values(&rows.air, |mut row, air| {
            row.push_bind(air.0).push_bind(air.1).push_bind(air.2).push_bind(air.3);
            row.push_bind(air.4).push_bind(air.5).push_bind(air.6).push_bind(air.7);
        });
        query.build().execute(&mut *tx).await.unwrap();
    }
    for forecast in &rows.forecasts {
        sqlx::query("INSERT INTO forecast (source_id, issued_at, fetched_at, hours) VALUES ($1, $2, $3, $4)")
            .bind(&forecast.0)
            .bind(forecast.1)
            .bind(forecast.2)
            .bind(&forecast.3)
            .execute(&mut *tx)
            .await
            .unwrap();
    }
    tx.commit().await.unwrap();
}
