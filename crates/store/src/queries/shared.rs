//! What all farms share: curves and materials.

use model::time::Instant;
use serde_json::Value;

use super::notes::{self, Note};
use super::wall::Of;
use super::{Connection, Pools, Tx};
use crate::error::missing;
use crate::rows::{Curve, Material};
use crate::{Result, StoreError, text};

pub(crate) async fn add_curve(db: &Pools, id: &str, doc: &Value, at: Instant) -> Result<()> {
    let mut tx = db.begin_write().await?;
    let added = sqlx::query("INSERT INTO curve (id, doc, at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING")
        .bind(id)
        .bind(text::of(doc))
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    if added.rows_affected() == 0 {
        let held =
            sqlx::query_scalar("SELECT doc FROM curve WHERE id = $1").bind(id).fetch_one(&mut *tx).await?;
        return same(held, doc, || format!("curve `{id}`"));
    }
    raise(tx, db, Note::new(Of::Server, "added", "curve", id)).await
}

fn same(held: String, doc: &Value, what: impl Fn() -> String) -> Result<()> {
    if text::doc(&held, &what)? == *doc {
        return Ok(());
    }
    Err(StoreError::Conflict { what: format!("another {} already exists", what()) })
}

pub(crate) async fn curves(db: &Pools) -> Result<Vec<Curve>> {
    let rows: Vec<(String, String, i64)> =
        sqlx::query_as("SELECT id, doc, at FROM curve ORDER BY id").fetch_all(&mut *db.look().await?).await?;
    rows.into_iter()
        .map(|(id, doc, at)| {
            let doc = text::doc(&doc, || format!("curve `{id}`"))?;
            Ok(Curve { id, doc, at: Instant(at) })
        })
        .collect()
}

pub(crate) async fn add_material(db: &Pools, id: &str, doc: &Value, at: Instant) -> Result<()> {
    let mut tx = db.begin_write().await?;
    let added = sqlx::query("INSERT INTO material (id, doc, at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING")
        .bind(id)
        .bind(text::of(doc))
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    if added.rows_affected() == 0 {
        let held = held(&mut tx, id).await?.unwrap_or_default();
        return same(held, doc, || format!("material `{id}`"));
    }
    raise(tx, db, Note::new(Of::Server, "added", "material", id)).await
}

async fn held(connection: &mut Connection, id: &str) -> Result<Option<String>> {
    Ok(sqlx::query_scalar("SELECT doc FROM material WHERE id = $1")
        .bind(id)
        .fetch_optional(connection)
        .await?)
}

/// Raises the version that all seasons are reckoned from.
async fn raise(mut tx: Tx, db: &Pools, note: Note<'_>) -> Result<()> {
    sqlx::query("UPDATE counter SET last = last + 1 WHERE kind = 'catalogue'").execute(&mut *tx).await?;
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn materials(db: &Pools) -> Result<Vec<Material>> {
    let rows: Vec<(String, String, i64)> = sqlx::query_as("SELECT id, doc, at FROM material ORDER BY id")
        .fetch_all(&mut *db.look().await?)
        .await?;
    rows.into_iter()
        .map(|(id, doc, at)| {
            let doc = text::doc(&doc, || format!("material `{id}`"))?;
            Ok(Material { id, doc, at: Instant(at) })
        })
        .collect()
}

pub(crate) async fn change_material(db: &Pools, id: &str, doc: &Value, at: Instant) -> Result<()> {
    let mut tx = db.begin_write().await?;
    let held = held(&mut tx, id).await?.ok_or_else(|| missing("material", id))?;
    if text::doc(&held, || format!("material `{id}`"))? == *doc {
        return Ok(());
    }
    sqlx::query("UPDATE material SET doc = $2, at = $3 WHERE id = $1")
        .bind(id)
        .bind(text::of(doc))
        .bind(at.0)
        .execute(&mut *tx)
        .await?;
    raise(tx, db, Note::new(Of::Server, "changed", "material", id).with(doc.clone())).await
}
