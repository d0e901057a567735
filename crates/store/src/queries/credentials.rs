//! Tokens and sign-ins, and attempts to sign in.

use model::time::{DAY, Instant};

use serde_json::json;

use super::notes::{self, Note};
use super::wall::Of;
use super::{Connection, Pools};
use crate::Result;
use crate::error::naming;
use crate::read::{self, CredentialColumns, columns};
use crate::rows::{Credential, CredentialKind};

/// Attempts are forgotten after so long, longer than any window they count in.
const KEPT_ATTEMPTS: i64 = DAY;

pub(crate) async fn add_credential(db: &Pools, credential: &Credential) -> Result<()> {
    let mut tx = db.begin_people().await?;
    sqlx::query(
        "INSERT INTO credential (id, kind, person_id, name, hash, scope, created_at, expires_at, \
         last_used_at, revoked_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(&credential.id)
    .bind(credential.kind.word())
    .bind(&credential.person_id)
    .bind(&credential.name)
    .bind(&credential.hash)
    .bind(credential.scope.word())
    .bind(credential.created_at.0)
    .bind(credential.expires_at.map(|at| at.0))
    .bind(credential.last_used_at.map(|at| at.0))
    .bind(credential.revoked_at.map(|at| at.0))
    .execute(&mut *tx)
    .await
    .map_err(naming(format!("token `{}`, or its hash,", credential.id), "person that it names"))?;
    let note = Note::new(Of::Server, "made", credential.kind.word(), &credential.id);
    let detail = json!({"name": credential.name, "scope": credential.scope.word()});
    notes::note_deed(&mut tx, db, note.with(detail)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn credential_count(db: &Pools) -> Result<u64> {
    let count: i64 =
        sqlx::query_scalar("SELECT count(*) FROM credential").fetch_one(&mut *db.look().await?).await?;
    Ok(count.unsigned_abs())
}

pub(crate) async fn credential_by_hash(db: &Pools, hash: &str) -> Result<Option<Credential>> {
    let row: Option<CredentialColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(credential), " FROM credential WHERE hash = $1"))
            .bind(hash)
            .fetch_optional(&mut *db.look().await?)
            .await?;
    row.map(read::credential).transpose()
}

pub(crate) async fn credentials_of(db: &Pools, person_id: &str) -> Result<Vec<Credential>> {
    let rows: Vec<CredentialColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(credential),
        " FROM credential WHERE person_id = $1 ORDER BY id"
    ))
    .bind(person_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::credential).collect()
}

pub(crate) async fn note_use(db: &Pools, id: &str, at: Instant) -> Result<()> {
    sqlx::query("UPDATE credential SET last_used_at = $2 WHERE id = $1")
        .bind(id)
        .bind(at.0)
        .execute(db.writer())
        .await?;
    Ok(())
}

pub(crate) async fn revoke(db: &Pools, id: &str, at: Instant) -> Result<bool> {
    let mut tx = db.begin_people().await?;
    let revoked = sqlx::query("UPDATE credential SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL")
        .bind(id)
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    if revoked.rows_affected() == 1 {
        notes::note_deed(&mut tx, db, Note::new(Of::Server, "revoked", "token", id)).await?;
    }
    tx.commit().await?;
    Ok(revoked.rows_affected() == 1)
}

/// Ends all sign-ins of a person.
pub(super) async fn end_sessions(connection: &mut Connection, person_id: &str, at: Instant) -> Result<()> {
    sqlx::query(
        "UPDATE credential SET revoked_at = $2 \
         WHERE person_id = $1 AND kind = $3 AND revoked_at IS NULL",
    )
    .bind(person_id)
    .bind(at.0)
    .bind(CredentialKind::Session.word())
    .execute(connection)
    .await?;
    Ok(())
}

pub(crate) async fn count_attempt(
    db: &Pools,
    key: &str,
    now: Instant,
    window: i64,
) -> Result<(i64, Instant)> {
    let (number, since): (i64, i64) = sqlx::query_as(
        "INSERT INTO attempt (key, number, since) VALUES ($1, 1, $2) \
         ON CONFLICT (key) DO UPDATE SET \
         number = CASE WHEN attempt.since <= $3 THEN 1 ELSE attempt.number + 1 END, \
         since = CASE WHEN attempt.since <= $3 THEN excluded.since ELSE attempt.since END \
         RETURNING number, since",
    )
    .bind(key)
    .bind(now.0)
    .bind(now.plus(-window).0)
    .fetch_one(db.writer())
    .await?;
    // Whoever tries names leaves a row for each of them.
    sqlx::query("DELETE FROM attempt WHERE since <= $1")
        .bind(now.plus(-KEPT_ATTEMPTS).0)
        .execute(db.writer())
        .await?;
    Ok((number, Instant(since)))
}

pub(crate) async fn forget_attempts(db: &Pools, key: &str) -> Result<()> {
    sqlx::query("DELETE FROM attempt WHERE key = $1").bind(key).execute(db.writer()).await?;
    Ok(())
}
