//! Answers kept for those who ask the same again.

use model::time::Instant;
use sqlx::QueryBuilder;

use super::{Db, Pools, dialect};
use crate::rows::{Answer, Asked};
use crate::{Result, StoreError};

pub(crate) async fn ask(
    db: &Pools,
    bearer: &str,
    key: &str,
    fingerprint: &str,
    now: Instant,
    given_up: Instant,
) -> Result<Asked> {
    let mut tx = db.begin_write().await?;
    let new = sqlx::query(
        "INSERT INTO answer (bearer, key, fingerprint, at, taken_at) VALUES ($1, $2, $3, $4, $4) \
         ON CONFLICT DO NOTHING",
    )
    .bind(bearer)
    .bind(key)
    .bind(fingerprint)
    .bind(now.0)
    .execute(&mut *tx)
    .await?;
    if new.rows_affected() == 1 {
        tx.commit().await?;
        return Ok(Asked::First(now));
    }
    type Columns = (String, i64, i64, Option<i64>, Option<String>, Option<String>);
    let mut query = QueryBuilder::<Db>::new(
        "SELECT fingerprint, at, taken_at, status, location, body FROM answer WHERE bearer = ",
    );
    query.push_bind(bearer).push(" AND key = ").push_bind(key).push(dialect::LOCK);
    let (held, at, taken_at, status, location, body): Columns =
        query.build_query_as().fetch_one(&mut *tx).await?;
    if held != fingerprint {
        return Ok(Asked::Other);
    }
    if let Some(status) = status {
        let status = u16::try_from(status).map_err(|_| StoreError::Unreadable {
            what: format!("answer under the key `{key}`"),
            why: format!("status {status}"),
        })?;
        return Ok(Asked::Answered(Answer { status, location, body: body.unwrap_or_default() }));
    }
    if taken_at > given_up.0 {
        return Ok(Asked::UnderWay);
    }
    // Whoever began it is gone.
    sqlx::query("UPDATE answer SET taken_at = $3 WHERE bearer = $1 AND key = $2")
        .bind(bearer)
        .bind(key)
        .bind(now.0)
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(Asked::First(Instant(at)))
}

pub(crate) async fn keep_answer(db: &Pools, bearer: &str, key: &str, answer: &Answer) -> Result<()> {
    sqlx::query("UPDATE answer SET status = $3, location = $4, body = $5 WHERE bearer = $1 AND key = $2")
        .bind(bearer)
        .bind(key)
        .bind(i64::from(answer.status))
        .bind(&answer.location)
        .bind(&answer.body)
        .execute(db.writer())
        .await?;
    Ok(())
}

pub(crate) async fn unask(db: &Pools, bearer: &str, key: &str) -> Result<()> {
    sqlx::query("DELETE FROM answer WHERE bearer = $1 AND key = $2 AND status IS NULL")
        .bind(bearer)
        .bind(key)
        .execute(db.writer())
        .await?;
    Ok(())
}

pub(crate) async fn forget_answers(db: &Pools, before: Instant) -> Result<u64> {
    let gone = sqlx::query("DELETE FROM answer WHERE at < $1").bind(before.0).execute(db.writer()).await?;
    Ok(gone.rows_affected())
}
