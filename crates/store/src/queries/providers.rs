//! Providers of weather: what was asked of each, and how it answers, over all
//! instances together.

use std::collections::HashMap;

use model::time::Instant;

use super::Pools;
use crate::Result;
use crate::rows::ProviderState;

pub(crate) async fn spend(
    db: &Pools,
    provider: &str,
    cost: u64,
    limits: &[(i64, u64)],
    now: Instant,
) -> Result<Option<Instant>> {
    let cost = i64::try_from(cost).unwrap_or(i64::MAX);
    let mut tx = db.begin_write().await?;
    let mut free_at: Option<Instant> = None;
    for (seconds, most) in limits {
        // Windows are those of UTC, as providers count them.
        let begin = now.0.div_euclid(*seconds) * seconds;
        let used: i64 = sqlx::query_scalar(
            "INSERT INTO spent (provider, seconds, begin, used) VALUES ($1, $2, $3, $4) \
             ON CONFLICT (provider, seconds) DO UPDATE SET \
             used = CASE WHEN spent.begin = excluded.begin THEN spent.used + excluded.used ELSE excluded.used END, \
             begin = excluded.begin RETURNING used",
        )
        .bind(provider)
        .bind(seconds)
        .bind(begin)
        .bind(cost)
        .fetch_one(&mut *tx)
        .await?;
        // What alone is more than the limit goes out when nothing else did.
        if used > cost && used > i64::try_from(*most).unwrap_or(i64::MAX) {
            free_at = free_at.max(Some(Instant(begin + seconds)));
        }
    }
    if free_at.is_none() {
        tx.commit().await?;
    }
    Ok(free_at)
}

pub(crate) async fn provider_well(db: &Pools, provider: &str, now: Instant) -> Result<()> {
    sqlx::query(
        "INSERT INTO provider (name, failures, open_until, last_ok_at, last_error) VALUES ($1, 0, NULL, $2, NULL) \
         ON CONFLICT (name) DO UPDATE SET failures = 0, open_until = NULL, last_ok_at = excluded.last_ok_at, \
         last_error = NULL",
    )
    .bind(provider)
    .bind(now.0)
    .execute(db.writer())
    .await?;
    Ok(())
}

pub(crate) async fn provider_failed(
    db: &Pools,
    provider: &str,
    error: &str,
    pauses: &[i64],
    now: Instant,
) -> Result<Option<Instant>> {
    let mut tx = db.begin_write().await?;
    let failures: i64 = sqlx::query_scalar(
        "INSERT INTO provider (name, failures, last_error) VALUES ($1, 1, $2) ON CONFLICT (name) DO UPDATE SET \
         failures = provider.failures + 1, last_error = excluded.last_error RETURNING failures",
    )
    .bind(provider)
    .bind(error)
    .fetch_one(&mut *tx)
    .await?;
    let step = usize::try_from(failures - 1).unwrap_or_default().min(pauses.len().saturating_sub(1));
    let open_until = pauses.get(step).filter(|pause| **pause > 0).map(|pause| now.plus(*pause));
    sqlx::query("UPDATE provider SET open_until = $2 WHERE name = $1")
        .bind(provider)
        .bind(open_until.map(|until| until.0))
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(open_until)
}

pub(crate) async fn providers(db: &Pools) -> Result<Vec<ProviderState>> {
    type Columns = (String, i64, Option<i64>, Option<i64>, Option<String>);
    let mut tx = db.begin_read().await?;
    let rows: Vec<Columns> = sqlx::query_as(
        "SELECT name, failures, open_until, last_ok_at, last_error FROM provider ORDER BY name",
    )
    .fetch_all(&mut *tx)
    .await?;
    let spent: Vec<(String, i64, i64, i64)> =
        sqlx::query_as("SELECT provider, seconds, begin, used FROM spent ORDER BY provider, seconds")
            .fetch_all(&mut *tx)
            .await?;
    let mut by_provider: HashMap<String, Vec<(i64, Instant, u64)>> = HashMap::new();
    for (provider, seconds, begin, used) in spent {
        by_provider.entry(provider).or_default().push((seconds, Instant(begin), used.unsigned_abs()));
    }
    Ok(rows
        .into_iter()
        .map(|(name, failures, open_until, last_ok_at, last_error)| ProviderState {
            spent: by_provider.remove(&name).unwrap_or_default(),
            name,
            failures: u32::try_from(failures).unwrap_or(u32::MAX),
            open_until: open_until.map(Instant),
            last_ok_at: last_ok_at.map(Instant),
            last_error,
        })
        .collect())
}
