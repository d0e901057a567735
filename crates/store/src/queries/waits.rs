//! What was put off while the clock was ahead.

use model::time::{DAY, Instant};

use super::Pools;
use crate::Result;

/// No lease, and no provider's pause, lasts longer: what ends later was written by a
/// clock that was ahead.
const LONGEST: i64 = 2 * DAY;

pub(crate) async fn bring_forward(db: &Pools, now: Instant, beyond: Instant) -> Result<u64> {
    let mut tx = db.begin_write().await?;
    let mut brought = 0;
    for waiting in [
        "UPDATE cell SET next_at = $1 WHERE next_at > $2",
        "UPDATE message SET next_try_at = $1 WHERE next_try_at > $2",
        "UPDATE hook_call SET next_try_at = $1 WHERE next_try_at > $2",
    ] {
        let done = sqlx::query(waiting).bind(now.0).bind(beyond.0).execute(&mut *tx).await?;
        brought += done.rows_affected();
    }
    // A lease of one that may be at work is left to run out.
    for held in [
        "UPDATE cell SET lease_until = $1 WHERE lease_until > $2",
        "UPDATE message SET lease_until = $1 WHERE lease_until > $2",
        "UPDATE hook_call SET lease_until = $1 WHERE lease_until > $2",
        "UPDATE provider SET open_until = $1 WHERE open_until > $2",
    ] {
        let done = sqlx::query(held).bind(now.0).bind(now.plus(LONGEST).0).execute(&mut *tx).await?;
        brought += done.rows_affected();
    }
    // What was asked in an hour that is still to come.
    sqlx::query("DELETE FROM spent WHERE begin > $1").bind(now.0).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(brought)
}
