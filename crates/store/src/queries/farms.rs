//! Farms.

use model::time::Instant;
use serde_json::json;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, contacts, dialect, notices};
use crate::error::{changed, missing, naming};
use crate::read::{self, FarmColumns, columns, seen_by};
use crate::rows::{Farm, Notice};
use crate::{Result, text};

pub(crate) async fn add_farm(db: &Pools, farm: &Farm) -> Result<()> {
    let mut tx = db.begin_write().await?;
    sqlx::query("INSERT INTO farm (id, name, alert_emails, created_at) VALUES ($1, $2, $3, $4)")
        .bind(&farm.id)
        .bind(&farm.name)
        .bind(text::of_list(&farm.alert_emails))
        .bind(farm.created_at.0)
        .execute(&mut *tx)
        .await
        .map_err(naming(format!("farm `{}`", farm.id), "row that the farm names"))?;
    notes::note(&mut tx, db, Note::new(Of::Farm(&farm.id), "added", "farm", &farm.id)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn farm(db: &Pools, id: &str) -> Result<Option<Farm>> {
    let row: Option<FarmColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(farm),
        " FROM farm WHERE id = $1 AND ",
        seen_by!("$2", "farm.id")
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(read::farm).transpose()
}

pub(crate) async fn farms(db: &Pools, after: Option<&str>, limit: u32) -> Result<Vec<Farm>> {
    let rows: Vec<FarmColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(farm),
        " FROM farm WHERE id > $1 AND ",
        seen_by!("$3", "farm.id"),
        " ORDER BY id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .bind(db.person())
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::farm).collect()
}

/// Keeps others from changing the farm, which must still be as it was read.
async fn lock(connection: &mut Connection, held: &Farm) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new(concat!("SELECT ", columns!(farm), " FROM farm WHERE id = "));
    query.push_bind(&held.id).push(dialect::LOCK);
    let row: Option<FarmColumns> = query.build_query_as().fetch_optional(connection).await?;
    let now = read::farm(row.ok_or_else(|| missing("farm", &held.id))?)?;
    if now == *held { Ok(()) } else { Err(changed("farm", &held.id)) }
}

pub(crate) async fn close_farm(db: &Pools, held: &Farm, at: Option<Instant>) -> Result<()> {
    let mut tx = db.begin_write().await?;
    lock(&mut tx, held).await?;
    wall::must_see(&mut tx, db, Of::Farm(&held.id)).await?;
    if held.closed_at.is_some() == at.is_some() {
        return Ok(());
    }
    sqlx::query("UPDATE farm SET closed_at = $2 WHERE id = $1")
        .bind(&held.id)
        .bind(at.map(|at| at.0))
        .execute(&mut *tx)
        .await?;
    let deed = if at.is_some() { "closed" } else { "opened again" };
    notes::note(&mut tx, db, Note::new(Of::Farm(&held.id), deed, "farm", &held.id)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn change_farm(
    db: &Pools,
    held: &Farm,
    name: &str,
    alert_emails: &[String],
    notices: &[Notice],
) -> Result<()> {
    let mut tx = db.begin_write().await?;
    lock(&mut tx, held).await?;
    wall::pass(&mut tx, db, Of::Farm(&held.id)).await?;
    if held.name == name && held.alert_emails == alert_emails {
        return Ok(());
    }
    sqlx::query("UPDATE farm SET name = $2, alert_emails = $3 WHERE id = $1")
        .bind(&held.id)
        .bind(name)
        .bind(text::of_list(alert_emails))
        .execute(&mut *tx)
        .await?;
    // Whoever puts an address back wants it to get mail.
    let fresh: Vec<&str> =
        alert_emails.iter().filter(|email| !held.alert_emails.contains(email)).map(String::as_str).collect();
    contacts::unsilence(&mut tx, &held.id, &fresh).await?;
    notices::add(&mut tx, notices).await?;
    let detail = json!({"name": name, "alert_emails": alert_emails});
    let note = Note::new(Of::Farm(&held.id), "changed", "farm", &held.id).with(detail);
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(())
}
