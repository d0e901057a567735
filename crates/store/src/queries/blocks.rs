//! Blocks.

use sqlx::QueryBuilder;

use model::time::Instant;
use serde_json::{Value, json};

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect, lending};
use crate::error::{changed, missing, naming};
use crate::read::{self, BlockColumns, columns, seen_by};
use crate::rows::{Block, Stay};
use crate::{Result, StoreError, text};

pub(crate) async fn add_block(db: &Pools, block: &Block) -> Result<()> {
    add_blocks(db, std::slice::from_ref(block)).await
}

pub(crate) async fn add_blocks(db: &Pools, blocks: &[Block]) -> Result<()> {
    let mut tx = db.begin_write().await?;
    for block in blocks {
        insert(&mut tx, db, block).await?;
    }
    // Only now: of blocks that come together one may borrow from the next.
    for block in blocks {
        lending::set(&mut tx, &block.id, &block.farm_id, &block.details).await?;
        notes::note(&mut tx, db, Note::new(Of::Block(&block.id), "added", "block", &block.id)).await?;
    }
    tx.commit().await?;
    Ok(())
}

async fn insert(connection: &mut Connection, db: &Pools, block: &Block) -> Result<()> {
    wall::pass(connection, db, Of::Farm(&block.farm_id)).await?;
    sqlx::query(
        "INSERT INTO block (id, farm_id, site_id, name, details, geometry, version, created_at) \
         VALUES ($1, $2, $3, $4, $5, $6, 1, $7)",
    )
    .bind(&block.id)
    .bind(&block.farm_id)
    .bind(&block.site_id)
    .bind(&block.name)
    .bind(text::of(&block.details))
    .bind(block.geometry.as_ref().map(text::of))
    .bind(block.created_at.0)
    .execute(connection)
    .await
    .map_err(naming(
        format!("block `{}`", block.id),
        &format!("farm `{}` or site `{}`", block.farm_id, block.site_id),
    ))?;
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

/// Keeps others from changing the block, which must still be as it was read.
async fn lock(connection: &mut Connection, held: &Block) -> Result<Block> {
    let row: Option<BlockColumns> =
        QueryBuilder::<Db>::new(concat!("SELECT ", columns!(block), " FROM block WHERE id = "))
            .push_bind(&held.id)
            .push(dialect::LOCK)
            .build_query_as()
            .fetch_optional(connection)
            .await?;
    let now = read::block(row.ok_or_else(|| missing("block", &held.id))?)?;
    if now.version == held.version { Ok(now) } else { Err(changed("block", &held.id)) }
}

pub(crate) async fn archive_block(db: &Pools, held: &Block, at: Option<Instant>) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&held.farm_id)).await?;
    wall::must_see(&mut tx, db, Of::Block(&held.id)).await?;
    let now = lock(&mut tx, held).await?;
    if now.archived_at.is_some() == at.is_some() {
        return Ok(now.version);
    }
    sqlx::query("UPDATE block SET archived_at = $2, version = version + 1 WHERE id = $1")
        .bind(&held.id)
        .bind(at.map(|at| at.0))
        .execute(&mut *tx)
        .await?;
    let deed = if at.is_some() { "archived" } else { "taken up again" };
    notes::note(&mut tx, db, Note::new(Of::Block(&held.id), deed, "block", &held.id)).await?;
    tx.commit().await?;
    Ok(now.version + 1)
}

pub(crate) async fn change_block(
    db: &Pools,
    held: &Block,
    name: &str,
    details: &Value,
    geometry: Option<&Value>,
) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(&held.id)).await?;
    let now = lock(&mut tx, held).await?;
    if now.name == name && now.details == *details && now.geometry.as_ref() == geometry {
        return Ok(now.version);
    }
    sqlx::query(
        "UPDATE block SET name = $2, details = $3, geometry = $4, version = version + 1 WHERE id = $1",
    )
    .bind(&held.id)
    .bind(name)
    .bind(text::of(details))
    .bind(geometry.map(text::of))
    .execute(&mut *tx)
    .await?;
    lending::set(&mut tx, &held.id, &now.farm_id, details).await?;
    lending::raise_borrowers(&mut tx, &[(&held.id, None)]).await?;
    let note = Note::new(Of::Block(&held.id), "changed", "block", &held.id);
    notes::note(&mut tx, db, note.with(json!({"name": name, "details": details, "geometry": geometry})))
        .await?;
    tx.commit().await?;
    Ok(now.version + 1)
}

pub(super) async fn stays(connection: &mut Connection, block_id: &str) -> Result<Vec<Stay>> {
    let rows: Vec<(String, i64)> =
        sqlx::query_as("SELECT site_id, until FROM stay WHERE block_id = $1 ORDER BY until")
            .bind(block_id)
            .fetch_all(connection)
            .await?;
    Ok(rows.into_iter().map(|(site_id, until)| Stay { site_id, until: Instant(until) }).collect())
}

pub(crate) async fn stays_of(db: &Pools, block_id: &str) -> Result<Vec<Stay>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    stays(&mut tx, block_id).await
}

pub(crate) async fn move_block(db: &Pools, held: &Block, site_id: &str, from: Instant) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(&held.id)).await?;
    let now = lock(&mut tx, held).await?;
    let stays = stays(&mut tx, &held.id).await?;
    let (last, before) = (stays.last(), stays.iter().rev().nth(1));
    let since = |at: Instant| {
        format!("the block came to its present site at {at}; it can only leave it later than that")
    };
    let taken_back = last.is_some_and(|last| last.site_id == site_id && last.until == from);
    if now.site_id == site_id {
        // It is there already: perhaps since another day than was said.
        match last {
            Some(last) if last.until != from => {
                if let Some(before) = before.filter(|before| from <= before.until) {
                    return Err(StoreError::Refused(since(before.until)));
                }
                change_stay(&mut tx, &held.id, last.until, Some(from)).await?;
            }
            _ => return Ok(now.version),
        }
    } else if taken_back {
        change_stay(&mut tx, &held.id, from, None).await?;
    } else if let Some(last) = last.filter(|last| from <= last.until) {
        return Err(StoreError::Refused(since(last.until)));
    }
    let fits: i64 =
        sqlx::query_scalar("SELECT count(*) FROM site WHERE id = $1 AND (farm_id IS NULL OR farm_id = $2)")
            .bind(site_id)
            .bind(&now.farm_id)
            .fetch_one(&mut *tx)
            .await?;
    if fits == 0 {
        return Err(missing("site of this farm or of the server", site_id));
    }
    if now.site_id != site_id && !taken_back {
        sqlx::query("INSERT INTO stay (block_id, until, site_id) VALUES ($1, $2, $3)")
            .bind(&held.id)
            .bind(from.0)
            .bind(&now.site_id)
            .execute(&mut *tx)
            .await?;
    }
    sqlx::query("UPDATE block SET site_id = $2, version = version + 1 WHERE id = $1")
        .bind(&held.id)
        .bind(site_id)
        .execute(&mut *tx)
        .await?;
    lending::raise_borrowers(&mut tx, &[(&held.id, None)]).await?;
    let note = Note::new(Of::Block(&held.id), "moved", "block", &held.id);
    notes::note(&mut tx, db, note.with(json!({"to": site_id, "from": from}))).await?;
    tx.commit().await?;
    Ok(now.version + 1)
}

/// Ends a stay at another time, or takes it out.
async fn change_stay(
    connection: &mut Connection,
    block_id: &str,
    until: Instant,
    to: Option<Instant>,
) -> Result<()> {
    let query = match to {
        Some(to) => sqlx::query("UPDATE stay SET until = $3 WHERE block_id = $1 AND until = $2")
            .bind(block_id)
            .bind(until.0)
            .bind(to.0),
        None => {
            sqlx::query("DELETE FROM stay WHERE block_id = $1 AND until = $2").bind(block_id).bind(until.0)
        }
    };
    query.execute(connection).await?;
    Ok(())
}
