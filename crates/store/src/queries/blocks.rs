//! Blocks.

use sqlx::QueryBuilder;

use serde_json::json;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Db, Pools, dialect};
use crate::error::{changed, missing, naming};
use crate::read::{self, BlockColumns, columns, seen_by};
use crate::rows::Block;
use crate::{Result, text};

pub(crate) async fn add_block(db: &Pools, block: &Block) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&block.farm_id)).await?;
    sqlx::query(
        "INSERT INTO block (id, farm_id, site_id, name, details, version, created_at) \
         VALUES ($1, $2, $3, $4, $5, 1, $6)",
    )
    .bind(&block.id)
    .bind(&block.farm_id)
    .bind(&block.site_id)
    .bind(&block.name)
    .bind(text::of(&block.details))
    .bind(block.created_at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming(
        format!("block `{}`", block.id),
        &format!("farm `{}` or site `{}`", block.farm_id, block.site_id),
    ))?;
    notes::note(&mut tx, db, Note::new(Of::Block(&block.id), "added", "block", &block.id)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn block(db: &Pools, id: &str) -> Result<Option<Block>> {
    let row: Option<BlockColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(block),
        " FROM block WHERE id = $1 AND ",
        seen_by!("$2", "farm_id")
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(read::block).transpose()
}

pub(crate) async fn blocks(
    db: &Pools,
    farm_id: Option<&str>,
    after: Option<&str>,
    limit: u32,
) -> Result<Vec<Block>> {
    let rows: Vec<BlockColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(block),
        " FROM block WHERE id > $1 AND ($4 IS NULL OR farm_id = $4) AND ",
        seen_by!("$3", "farm_id"),
        " ORDER BY id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .bind(db.person())
    .bind(farm_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::block).collect()
}

pub(crate) async fn change_block(
    db: &Pools,
    held: &Block,
    name: &str,
    details: &serde_json::Value,
) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(&held.id)).await?;
    let row: Option<BlockColumns> =
        QueryBuilder::<Db>::new(concat!("SELECT ", columns!(block), " FROM block WHERE id = "))
            .push_bind(&held.id)
            .push(dialect::LOCK)
            .build_query_as()
            .fetch_optional(&mut *tx)
            .await?;
    let now = read::block(row.ok_or_else(|| missing("block", &held.id))?)?;
    if now.version != held.version {
        return Err(changed("block", &held.id));
    }
    if now.name == name && now.details == *details {
        return Ok(now.version);
    }
    sqlx::query("UPDATE block SET name = $2, details = $3, version = version + 1 WHERE id = $1")
        .bind(&held.id)
        .bind(name)
        .bind(text::of(details))
        .execute(&mut *tx)
        .await?;
    let note = Note::new(Of::Block(&held.id), "changed", "block", &held.id);
    notes::note(&mut tx, db, note.with(json!({"name": name, "details": details}))).await?;
    tx.commit().await?;
    Ok(now.version + 1)
}
