//! Writing what was reckoned: seasons, alerts and items in one transaction.

use std::collections::HashMap;

use model::time::Instant;
use serde_json::Value;
use sqlx::QueryBuilder;
use uuid::Uuid;

use super::{Connection, Db, Pools, dialect, load};
use crate::read;
use crate::rows::{AlertRow, AlertStatus, AlertWrite, Reckoned, Versions};
use crate::{ROWS_A_STATEMENT, Result, text};

pub(crate) async fn commit_reckoned(db: &Pools, reckoned: &[Reckoned], now: Instant) -> Result<u64> {
    // One order for all writers, so that two of them never wait for each other.
    let mut reckoned: Vec<&Reckoned> = reckoned.iter().collect();
    reckoned.sort_by(|a, b| (&a.block_id, a.year).cmp(&(&b.block_id, b.year)));
    reckoned.dedup_by(|b, a| (&a.block_id, a.year) == (&b.block_id, b.year));

    let mut written = 0;
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
        let writes: Vec<&AlertWrite> = current.iter().flat_map(|season| &season.alerts).collect();
        write_alerts(&mut tx, &writes).await?;
        written += current.len() as u64;
    }
    tx.commit().await?;
    Ok(written)
}

/// Locks seasons and gives the versions that stand. A site or block changed
/// meanwhile only makes the season stale again.
async fn lock(
    connection: &mut Connection,
    seasons: &[&Reckoned],
) -> Result<HashMap<(String, i32), Versions>> {
    let mut query = QueryBuilder::<Db>::new(
        "SELECT season.block_id, season.year, site.version, block.version, season.log_version, \
         season.plan_version FROM season JOIN block ON block.id = season.block_id \
         JOIN site ON site.id = block.site_id WHERE (season.block_id, season.year) IN ",
    );
    load::seasons(&mut query, seasons.iter().map(|season| (season.block_id.as_str(), season.year)));
    query.push(" ORDER BY season.block_id, season.year").push(dialect::LOCK_SEASON);
    let rows: Vec<(String, i64, i64, i64, i64, i64)> =
        query.build_query_as().persistent(false).fetch_all(connection).await?;
    rows.into_iter()
        .map(|(block_id, year, site, block, log, plan)| {
            let versions = Versions { site, block, log, plan, model: 0 };
            Ok(((block_id, read::bloom_year(year)?), versions))
        })
        .collect()
}

async fn write_seasons(connection: &mut Connection, seasons: &[&Reckoned], now: Instant) -> Result<()> {
    // The rows are there and locked, so this always updates.
    let mut query = QueryBuilder::<Db>::new(
        "INSERT INTO season (block_id, year, plan_version, log_version, reckoned_site, \
         reckoned_block, reckoned_log, reckoned_plan, reckoned_model, look_again_at, reckoned_at, \
         state, doc) ",
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
            .push_bind(season.versions.model)
            .push_bind(season.look_again_at.map(|at| at.0))
            .push_bind(now.0)
            .push_bind(&season.state)
            .push_bind(text::of(&season.doc));
    });
    query.push(
        " ON CONFLICT (block_id, year) DO UPDATE SET reckoned_site = excluded.reckoned_site, \
         reckoned_block = excluded.reckoned_block, reckoned_log = excluded.reckoned_log, \
         reckoned_plan = excluded.reckoned_plan, reckoned_model = excluded.reckoned_model, \
         look_again_at = excluded.look_again_at, reckoned_at = excluded.reckoned_at, \
         state = excluded.state, doc = excluded.doc",
    );
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

async fn write_alerts(connection: &mut Connection, writes: &[&AlertWrite]) -> Result<()> {
    let mut new = Vec::new();
    let mut told = Vec::new();
    let mut retimed = Vec::new();
    let mut withdrawn = Vec::new();
    for write in writes {
        match write {
            AlertWrite::New { alert, recipients } => new.push((alert, recipients)),
            AlertWrite::Tell { alert_id, about, recipients } => {
                told.push((alert_id.as_str(), about, recipients));
            }
            AlertWrite::Retime { alert_id, about } => retimed.push((alert_id.as_str(), about)),
            AlertWrite::Withdraw { alert_id, at } => withdrawn.push((alert_id.as_str(), *at)),
        }
    }
    let mut items = Vec::new();
    for new in new.chunks(ROWS_A_STATEMENT) {
        let added = add(connection, new.iter().map(|(alert, _)| *alert)).await?;
        for (alert, recipients) in new {
            if alert.status == AlertStatus::Told && added.contains(&alert.id) {
                items.extend(recipients.iter().map(|to| (alert.id.as_str(), to.as_str())));
            }
        }
    }
    for told in told.chunks(ROWS_A_STATEMENT) {
        let now_told = tell(connection, told.iter().map(|(id, about, _)| (*id, *about))).await?;
        for (id, _, recipients) in told {
            if now_told.iter().any(|now_told| now_told == id) {
                items.extend(recipients.iter().map(|to| (*id, to.as_str())));
            }
        }
    }
    for items in items.chunks(ROWS_A_STATEMENT) {
        add_items(connection, items).await?;
    }
    for retimed in retimed.chunks(ROWS_A_STATEMENT) {
        retime(connection, retimed).await?;
    }
    for withdrawn in withdrawn.chunks(ROWS_A_STATEMENT) {
        withdraw(connection, withdrawn).await?;
    }
    Ok(())
}

/// Adds alerts whose key is not there yet; gives the ids of those added.
async fn add(connection: &mut Connection, alerts: impl Iterator<Item = &AlertRow>) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "INSERT INTO alert (id, block_id, year, kind, subject, generation, status, reason, about, \
         raised_at, withdrawn_at, acknowledged_at) ",
    );
    query.push_values(alerts, |mut row, alert| {
        row.push_bind(&alert.id)
            .push_bind(&alert.block_id)
            .push_bind(i64::from(alert.year))
            .push_bind(&alert.kind)
            .push_bind(&alert.subject)
            .push_bind(alert.generation)
            .push_bind(alert.status.word())
            .push_bind(&alert.reason)
            .push_bind(text::of(&alert.about))
            .push_bind(alert.raised_at.0)
            .push_bind(alert.withdrawn_at.map(|at| at.0))
            .push_bind(alert.acknowledged_at.map(|at| at.0));
    });
    query.push(" ON CONFLICT (block_id, year, kind, subject, generation) DO NOTHING RETURNING id");
    Ok(query.build_query_scalar().persistent(false).fetch_all(connection).await?)
}

/// Tells alerts that were skipped; gives the ids of those now told.
async fn tell<'a>(
    connection: &mut Connection,
    alerts: impl Iterator<Item = (&'a str, &'a Value)>,
) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "UPDATE alert SET status = 'told', reason = NULL, about = given.column2 FROM (",
    );
    query.push_values(alerts, |mut row, (id, about)| {
        row.push_bind(id).push_bind(text::of(about));
    });
    query.push(
        ") AS given WHERE alert.id = given.column1 AND alert.status = 'skipped' \
         RETURNING alert.id",
    );
    Ok(query.build_query_scalar().persistent(false).fetch_all(connection).await?)
}

async fn retime(connection: &mut Connection, alerts: &[(&str, &Value)]) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new("UPDATE alert SET about = given.column2 FROM (");
    query.push_values(alerts, |mut row, (id, about)| {
        row.push_bind(*id).push_bind(text::of(about));
    });
    query.push(") AS given WHERE alert.id = given.column1");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

async fn withdraw(connection: &mut Connection, alerts: &[(&str, Instant)]) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new("UPDATE alert SET withdrawn_at = given.column2 FROM (");
    query.push_values(alerts, |mut row, (id, at)| {
        row.push_bind(*id).push_bind(at.0);
    });
    query.push(") AS given WHERE alert.id = given.column1 AND alert.withdrawn_at IS NULL");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

/// Adds items of alert and recipient; one that is there already stays.
async fn add_items(connection: &mut Connection, items: &[(&str, &str)]) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new("INSERT INTO item (id, alert_id, recipient) ");
    query.push_values(items, |mut row, (alert_id, recipient)| {
        row.push_bind(item_id(alert_id, recipient)).push_bind(*alert_id).push_bind(*recipient);
    });
    query.push(" ON CONFLICT (alert_id, recipient) DO NOTHING");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

/// The same alert and recipient always make the same item.
fn item_id(alert_id: &str, recipient: &str) -> String {
    let name = format!("{alert_id} {recipient}");
    Uuid::new_v5(&Uuid::NAMESPACE_OID, name.as_bytes()).to_string()
}
