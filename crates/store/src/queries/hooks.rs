//! Hooks as people set them up.

use serde_json::json;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Pools, hook_calls};
use crate::error::{changed, missing, naming};
use crate::read::{self, HookColumns, columns, seen_by};
use crate::rows::{Hook, HookSecret};
use crate::{Result, text};

pub(crate) async fn add_hook(db: &Pools, hook: &Hook) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&hook.farm_id)).await?;
    sqlx::query(
        "INSERT INTO hook (id, farm_id, name, url, kinds, secrets, created_at, off_at, off_because, version) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1)",
    )
    .bind(&hook.id)
    .bind(&hook.farm_id)
    .bind(&hook.name)
    .bind(&hook.url)
    .bind(hook.kinds.as_deref().map(text::of_list))
    .bind(text::of(&HookSecret::to_doc(&hook.secrets)))
    .bind(hook.created_at.0)
    .bind(hook.off_at.map(|at| at.0))
    .bind(&hook.off_because)
    .execute(&mut *tx)
    .await
    .map_err(naming(format!("hook `{}`", hook.id), &format!("farm `{}`", hook.farm_id)))?;
    notes::note(&mut tx, db, note(hook, "added")).await?;
    tx.commit().await?;
    Ok(())
}

/// Something done to a hook; its secrets are no part of it.
fn note<'a>(hook: &'a Hook, deed: &'static str) -> Note<'a> {
    let detail = json!({"name": hook.name, "url": hook.url, "kinds": hook.kinds});
    Note::new(Of::Farm(&hook.farm_id), deed, "hook", &hook.id).with(detail)
}

pub(crate) async fn hook(db: &Pools, id: &str) -> Result<Option<Hook>> {
    let row: Option<HookColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(hook),
        " FROM hook WHERE id = $1 AND ",
        seen_by!("$2", "hook.farm_id")
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(read::hook).transpose()
}

pub(crate) async fn hooks_of(db: &Pools, farm_id: &str) -> Result<Vec<Hook>> {
    let rows: Vec<HookColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(hook),
        " FROM hook WHERE farm_id = $1 AND ",
        seen_by!("$2", "hook.farm_id"),
        " ORDER BY id"
    ))
    .bind(farm_id)
    .bind(db.person())
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::hook).collect()
}

pub(crate) async fn change_hook(db: &Pools, held: &Hook, to: &Hook) -> Result<i64> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&held.farm_id)).await?;
    let version: Option<i64> = sqlx::query_scalar(
        "UPDATE hook SET name = $3, url = $4, kinds = $5, secrets = $6, off_at = $7, off_because = $8, \
         version = version + 1 WHERE id = $1 AND version = $2 RETURNING version",
    )
    .bind(&held.id)
    .bind(held.version)
    .bind(&to.name)
    .bind(&to.url)
    .bind(to.kinds.as_deref().map(text::of_list))
    .bind(text::of(&HookSecret::to_doc(&to.secrets)))
    .bind(to.off_at.map(|at| at.0))
    .bind(&to.off_because)
    .fetch_optional(&mut *tx)
    .await?;
    let Some(version) = version else { return lost(db, held).await };
    if let (None, Some(at)) = (held.off_at, to.off_at) {
        hook_calls::give_up_of(&mut tx, at).await?;
    }
    let deed = match (held.off_at.is_some(), to.off_at.is_some()) {
        (false, true) => "switched off",
        (true, false) => "switched on",
        _ if held.secrets != to.secrets => "secret changed",
        _ => "changed",
    };
    notes::note(&mut tx, db, note(to, deed)).await?;
    tx.commit().await?;
    Ok(version)
}

pub(crate) async fn remove_hook(db: &Pools, held: &Hook) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&held.farm_id)).await?;
    // Locked first, so that no call is added meanwhile.
    let locked = sqlx::query("UPDATE hook SET version = version + 1 WHERE id = $1 AND version = $2")
        .bind(&held.id)
        .bind(held.version)
        .execute(&mut *tx)
        .await?;
    if locked.rows_affected() == 0 {
        return lost(db, held).await;
    }
    for sql in ["DELETE FROM hook_call WHERE hook_id = $1", "DELETE FROM hook WHERE id = $1"] {
        sqlx::query(sql).bind(&held.id).execute(&mut *tx).await?;
    }
    notes::note(&mut tx, db, note(held, "removed")).await?;
    tx.commit().await?;
    Ok(())
}

/// Why nothing stands under the version that was held.
async fn lost<T>(db: &Pools, held: &Hook) -> Result<T> {
    let there = hook(db, &held.id).await?;
    Err(there.map_or_else(|| missing("hook", &held.id), |_| changed("hook", &held.id)))
}
