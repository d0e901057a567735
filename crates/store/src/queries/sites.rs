//! Sites.

use super::notes::{self, Note};
use super::wall::Of;
use super::{Connection, Pools};
use crate::Result;
use crate::error::{missing, naming};
use crate::read::{self, SiteColumns, columns, seen_by};
use crate::rows::Site;

pub(crate) async fn add_site(db: &Pools, site: &Site) -> Result<()> {
    let mut tx = db.begin_write().await?;
    // Adding zero makes -0.0 the 0.0 that SQLite gives back.
    sqlx::query(
        "INSERT INTO site (id, farm_id, name, latitude, longitude, elevation_m, time_zone, \
         version, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, 1, $8)",
    )
    .bind(&site.id)
    .bind(&site.farm_id)
    .bind(&site.name)
    .bind(site.latitude + 0.0)
    .bind(site.longitude + 0.0)
    .bind(site.elevation_m.map(|metres| metres + 0.0))
    .bind(&site.time_zone)
    .bind(site.created_at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming(
        format!("site `{}`", site.id),
        &format!("farm `{}`", site.farm_id.as_deref().unwrap_or_default()),
    ))?;
    notes::note(&mut tx, db, Note::new(Of::Site(&site.id), "added", "site", &site.id)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn site(db: &Pools, id: &str) -> Result<Option<Site>> {
    let row: Option<SiteColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(site),
        " FROM site WHERE id = $1 AND (farm_id IS NULL OR ",
        seen_by!("$2", "farm_id"),
        ")"
    ))
    .bind(id)
    .bind(db.person())
    .fetch_optional(&mut *db.look().await?)
    .await?;
    row.map(read::site).transpose()
}

/// The site, as part of a larger transaction.
pub(super) async fn find(connection: &mut Connection, id: &str) -> Result<Option<Site>> {
    let row: Option<SiteColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(site), " FROM site WHERE id = $1"))
            .bind(id)
            .fetch_optional(connection)
            .await?;
    row.map(read::site).transpose()
}

pub(crate) async fn sites(
    db: &Pools,
    farm_id: Option<&str>,
    after: Option<&str>,
    limit: u32,
) -> Result<Vec<Site>> {
    let rows: Vec<SiteColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(site),
        " FROM site WHERE id > $1 AND ($4 IS NULL OR farm_id = $4) AND (farm_id IS NULL OR ",
        seen_by!("$3", "farm_id"),
        ") ORDER BY id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .bind(db.person())
    .bind(farm_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::site).collect()
}

/// Makes every season on the site stale.
pub(super) async fn raise(connection: &mut Connection, id: &str) -> Result<()> {
    let raised = sqlx::query("UPDATE site SET version = version + 1 WHERE id = $1")
        .bind(id)
        .execute(connection)
        .await?;
    if raised.rows_affected() == 0 { Err(missing("site", id)) } else { Ok(()) }
}
