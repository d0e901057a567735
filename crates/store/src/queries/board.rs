//! A whole region at one look.

use model::time::Instant;

use super::Pools;
use crate::Result;
use crate::read::seen_by;
use crate::rows::BoardRow;

type Columns = (
    String,
    String,
    String,
    String,
    String,
    String,
    f64,
    f64,
    String,
    Option<String>,
    Option<String>,
    Option<i64>,
    Option<i64>,
);

pub(crate) async fn board(db: &Pools, year: i32, farm_id: Option<&str>, limit: u32) -> Result<Vec<BoardRow>> {
    let rows: Vec<Columns> = sqlx::query_as(concat!(
        "SELECT block.id, block.name, block.details, block.farm_id, site.id, site.name, site.latitude, site.longitude, site.time_zone, \
         season.state, season.doc, season.reckoned_at, \
         (SELECT max(log_entry.at) FROM log_entry WHERE log_entry.block_id = season.block_id \
         AND log_entry.year = season.year AND log_entry.kind = 'open-count') \
         FROM season JOIN block ON block.id = season.block_id JOIN site ON site.id = block.site_id \
         JOIN farm ON farm.id = block.farm_id \
         WHERE season.year = $1 AND block.archived_at IS NULL AND farm.closed_at IS NULL AND ($2 IS NULL OR block.farm_id = $2) AND ",
        seen_by!("$3", "block.farm_id"),
        " ORDER BY block.id LIMIT $4"
    ))
    .bind(i64::from(year))
    .bind(farm_id)
    .bind(db.person())
    .bind(i64::from(limit))
    .fetch_all(&mut *db.look().await?)
    .await?;
    Ok(rows
        .into_iter()
        .map(
            |(
                block_id,
                name,
                details,
                farm_id,
                site_id,
                site,
                north,
                east,
                zone,
                state,
                doc,
                reckoned_at,
                counted_at,
            )| {
                BoardRow {
                    details,
                    block_id,
                    name,
                    farm_id,
                    site_id,
                    site,
                    place: (north, east),
                    time_zone: zone,
                    state,
                    doc,
                    reckoned_at: reckoned_at.map(Instant),
                    counted_at: counted_at.map(Instant),
                }
            },
        )
        .collect())
}
