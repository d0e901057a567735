//! Farms.

use super::Pools;
use crate::error::{missing, naming};
use crate::read::{self, FarmColumns, columns, seen_by};
use crate::rows::{Farm, Viewer};
use crate::{Result, text};

pub(crate) async fn add_farm(db: &Pools, farm: &Farm) -> Result<()> {
    sqlx::query("INSERT INTO farm (id, name, alert_emails, created_at) VALUES ($1, $2, $3, $4)")
        .bind(&farm.id)
        .bind(&farm.name)
        .bind(text::of_list(&farm.alert_emails))
        .bind(farm.created_at.0)
        .execute(db.writer())
        .await
        .map_err(naming(format!("farm `{}`", farm.id), "row that the farm names"))?;
    Ok(())
}

pub(crate) async fn farm(db: &Pools, viewer: &Viewer, id: &str) -> Result<Option<Farm>> {
    let row: Option<FarmColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(farm),
        " FROM farm WHERE id = $1 AND ",
        seen_by!("$2", "farm.id")
    ))
    .bind(id)
    .bind(viewer.person_id())
    .fetch_optional(db.reader())
    .await?;
    row.map(read::farm).transpose()
}

pub(crate) async fn farms(db: &Pools, viewer: &Viewer, after: Option<&str>, limit: u32) -> Result<Vec<Farm>> {
    let rows: Vec<FarmColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(farm),
        " FROM farm WHERE id > $1 AND ",
        seen_by!("$3", "farm.id"),
        " ORDER BY id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .bind(viewer.person_id())
    .fetch_all(db.reader())
    .await?;
    rows.into_iter().map(read::farm).collect()
}

pub(crate) async fn change_farm(db: &Pools, id: &str, name: &str, alert_emails: &[String]) -> Result<()> {
    let changed = sqlx::query("UPDATE farm SET name = $2, alert_emails = $3 WHERE id = $1")
        .bind(id)
        .bind(name)
        .bind(text::of_list(alert_emails))
        .execute(db.writer())
        .await?;
    if changed.rows_affected() == 0 { Err(missing("farm", id)) } else { Ok(()) }
}
