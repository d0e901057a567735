//! Tokens of the API.

use model::time::Instant;

use super::Pools;
use crate::Result;
use crate::error::naming;
use crate::rows::ApiToken;

pub(crate) async fn add_token(db: &Pools, token: &ApiToken) -> Result<()> {
    sqlx::query("INSERT INTO api_token (id, name, hash, created_at) VALUES ($1, $2, $3, $4)")
        .bind(&token.id)
        .bind(&token.name)
        .bind(&token.hash)
        .bind(token.created_at.0)
        .execute(db.writer())
        .await
        .map_err(naming(format!("token `{}`, or its hash,", token.id), "row that it names"))?;
    Ok(())
}

pub(crate) async fn token_count(db: &Pools) -> Result<u64> {
    let count: i64 = sqlx::query_scalar("SELECT count(*) FROM api_token").fetch_one(db.reader()).await?;
    Ok(count.unsigned_abs())
}

pub(crate) async fn token_by_hash(db: &Pools, hash: &str) -> Result<Option<ApiToken>> {
    let row: Option<(String, String, String, i64)> =
        sqlx::query_as("SELECT id, name, hash, created_at FROM api_token WHERE hash = $1")
            .bind(hash)
            .fetch_optional(db.reader())
            .await?;
    Ok(row.map(|(id, name, hash, created_at)| ApiToken { id, name, hash, created_at: Instant(created_at) }))
}
