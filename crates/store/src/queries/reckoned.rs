//! Writing what was reckoned: seasons, alerts and items in one transaction.

use std::collections::HashMap;

use model::time::Instant;
use sqlx::QueryBuilder;

use super::{Connection, Db, Pools, alert_writes, dialect, expectations, load, notes};
use crate::read::{self, weather_version};
use crate::rows::{AlertWrite, Reckoned, Versions};
use crate::{ROWS_A_STATEMENT, Result, text, trial};

pub(crate) async fn commit_reckoned(db: &Pools, reckoned: &[Reckoned], now: Instant) -> Result<u64> {
    // One order for all writers, so that two of them never wait for each other.
    let mut reckoned: Vec<&Reckoned> = reckoned.iter().collect();
    reckoned.sort_by(|a, b| (&a.block_id, a.year).cmp(&(&b.block_id, b.year)));
    reckoned.dedup_by(|b, a| (&a.block_id, a.year) == (&b.block_id, b.year));

    let mut written = 0;
    let mut seasons = Vec::with_capacity(reckoned.len());
    let mut alerts = Vec::new();
    let mut tx = db.begin_write().await?;
    for chunk in reckoned.chunks(ROWS_A_STATEMENT) {
        let stands = lock(&mut tx, chunk).await?;
        let current: Vec<&Reckoned> = chunk
            .iter()
            .copied()
            .filter(|season| {
                stands
                    .get(&(season.block_id.clone(), season.year))
                    .is_some_and(|now| now.same_input(&season.versions))
            })
            .collect();
        if current.is_empty() {
            continue;
        }
        write_seasons(&mut tx, &current, now).await?;
        expectations::write(&mut tx, &current).await?;
        trial::point(trial::SEASON);
        let writes: Vec<&AlertWrite> = current.iter().flat_map(|season| &season.alerts).collect();
        alert_writes::write(&mut tx, &writes).await?;
        seasons.extend(current.iter().map(|season| (season.block_id.as_str(), season.year)));
        alerts.extend(writes.iter().flat_map(|write| write.alert_ids()));
        written += current.len() as u64;
    }
    notes::note_reckoned(&mut tx, &seasons, &alerts).await?;
    trial::point(trial::OUTBOX);
    tx.commit().await?;
    Ok(written)
}

/// Locks seasons and gives the versions that stand. A site or block changed
/// meanwhile only makes the season stale again.
async fn lock(
    connection: &mut Connection,
    seasons: &[&Reckoned],
) -> Result<HashMap<(String, i32), Versions>> {
    let mut query = QueryBuilder::<Db>::new(concat!(
        "SELECT season.block_id, season.year, ",
        weather_version!(),
        ", block.version, season.log_version, \
         season.plan_version, (SELECT last FROM counter WHERE kind = 'catalogue') FROM season JOIN block ON block.id = season.block_id \
         JOIN site ON site.id = block.site_id WHERE (season.block_id, season.year) IN "
    ));
    load::seasons(&mut query, seasons.iter().map(|season| (season.block_id.as_str(), season.year)));
    query.push(" ORDER BY season.block_id, season.year").push(dialect::LOCK_SEASON);
    let rows: Vec<(String, i64, i64, i64, i64, i64, i64)> =
        query.build_query_as().persistent(false).fetch_all(connection).await?;
    rows.into_iter()
        .map(|(block_id, year, site, block, log, plan, catalogue)| {
            let versions = Versions { site, block, log, plan, catalogue, program: 0 };
            Ok(((block_id, read::bloom_year(year)?), versions))
        })
        .collect()
}

async fn write_seasons(connection: &mut Connection, seasons: &[&Reckoned], now: Instant) -> Result<()> {
    // The rows are there and locked, so this always updates.
    let mut query = QueryBuilder::<Db>::new(
        "INSERT INTO season (block_id, year, plan_version, log_version, reckoned_site, \
         reckoned_block, reckoned_log, reckoned_plan, reckoned_catalogue, reckoned_program, \
         look_again_at, reckoned_at, state, doc) ",
    );
    query.push_values(seasons, |mut row, season| {
        row.push_bind(&season.block_id)
            .push_bind(i64::from(season.year))
            .push_bind(season.versions.plan)
            .push_bind(season.versions.log)
            .push_bind(season.versions.site)
            .push_bind(season.versions.block)
            .push_bind(season.versions.log)
            .push_bind(season.versions.plan)
            .push_bind(season.versions.catalogue)
            .push_bind(season.versions.program)
            .push_bind(season.look_again_at.map(|at| at.0))
            .push_bind(now.0)
            .push_bind(&season.state)
            .push_bind(text::of(&season.doc));
    });
    query.push(
        " ON CONFLICT (block_id, year) DO UPDATE SET reckoned_site = excluded.reckoned_site, \
         reckoned_block = excluded.reckoned_block, reckoned_log = excluded.reckoned_log, \
         reckoned_plan = excluded.reckoned_plan, reckoned_catalogue = excluded.reckoned_catalogue, \
         reckoned_program = excluded.reckoned_program, look_again_at = excluded.look_again_at, reckoned_at = excluded.reckoned_at, \
         state = excluded.state, doc = excluded.doc",
    );
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}
