//! Seasons: which are stale, and what they are reckoned from.

use std::collections::{BTreeSet, HashMap};

use model::time::Instant;
use serde_json::Value;
use sqlx::QueryBuilder;

pub(crate) use super::reckoned::commit_reckoned;
use super::wall::{self, Of};
use super::{Connection, Db, Pools, alerts, confirmations, contacts, dialect, lending, load, logs};
use crate::error::naming;
use crate::read::{self, AlertColumns, columns, weather_version};
use crate::rows::{AlertRow, LogEntry, ReckonedState, SeasonRow, Stale, StaleKey, Versions};
use crate::{ROWS_A_STATEMENT, Result, text};

/// Begins seasons that are not there, and keeps others from changing their
/// plans, their logs or what is reckoned of them until the transaction ends. The
/// keys are in order, so that two writers never wait for each other.
pub(super) async fn begin_and_lock(connection: &mut Connection, keys: &[(&str, i32)]) -> Result<()> {
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query =
            QueryBuilder::<Db>::new("INSERT INTO season (block_id, year, plan_version, log_version) ");
        query.push_values(keys, |mut row, (block_id, year)| {
            row.push_bind(*block_id).push_bind(i64::from(*year)).push("0").push("0");
        });
        let blocks = keys.iter().map(|(block_id, _)| format!("block `{block_id}`"));
        let blocks = blocks.collect::<Vec<_>>().join(", or ");
        query
            .push(" ON CONFLICT DO NOTHING")
            .build()
            .persistent(keys.len() == 1)
            .execute(&mut *connection)
            .await
            .map_err(naming(format!("a season of {blocks}"), &blocks))?;
        if dialect::LOCK_SEASON.is_empty() {
            continue;
        }
        let mut query = QueryBuilder::<Db>::new("SELECT year FROM season WHERE (block_id, year) IN ");
        load::seasons(&mut query, keys.iter().copied());
        query.push(" ORDER BY block_id, year").push(dialect::LOCK_SEASON);
        query.build().persistent(keys.len() == 1).execute(&mut *connection).await?;
    }
    Ok(())
}

pub(crate) async fn season(db: &Pools, block_id: &str, year: i32) -> Result<Option<SeasonRow>> {
    type Now = (i64, i64, i64, i64, i64);
    type Then = (Option<i64>, Option<i64>, Option<i64>, Option<i64>, Option<i64>, Option<i64>);
    type Rest = (Option<i64>, Option<i64>, Option<String>, Option<String>);
    // More columns than a tuple has places for, so two statements of one
    // snapshot.
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(None);
    }
    let now: Option<Now> = sqlx::query_as(concat!(
        "SELECT ",
        weather_version!(),
        ", block.version, season.log_version, season.plan_version, \
         (SELECT last FROM counter WHERE kind = 'catalogue') FROM season JOIN block ON block.id = season.block_id \
         JOIN site ON site.id = block.site_id WHERE season.block_id = $1 AND season.year = $2"
    ))
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_optional(&mut *tx)
    .await?;
    let Some((site, block, log, plan, catalogue)) = now else {
        return Ok(None);
    };
    let versions_now = Versions { site, block, log, plan, catalogue, program: 0 };
    let (site, block, log, plan, catalogue, program): Then = sqlx::query_as(
        "SELECT reckoned_site, reckoned_block, reckoned_log, reckoned_plan, reckoned_catalogue, \
         reckoned_program FROM season WHERE block_id = $1 AND year = $2",
    )
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_one(&mut *tx)
    .await?;
    let (look_again_at, reckoned_at, state, doc): Rest = sqlx::query_as(
        "SELECT look_again_at, reckoned_at, state, doc FROM season \
         WHERE block_id = $1 AND year = $2",
    )
    .bind(block_id)
    .bind(i64::from(year))
    .fetch_one(&mut *tx)
    .await?;
    let then = (site, block, log, plan, catalogue, program, reckoned_at, state, doc);
    let reckoned = match then {
        (
            Some(site),
            Some(block),
            Some(log),
            Some(plan),
            Some(catalogue),
            Some(program),
            Some(reckoned_at),
            Some(state),
            Some(doc),
        ) => Some(ReckonedState {
            versions: Versions { site, block, log, plan, catalogue, program },
            look_again_at: look_again_at.map(Instant),
            reckoned_at: Instant(reckoned_at),
            state,
            doc: text::doc(&doc, || format!("season {year} of block `{block_id}`"))?,
        }),
        _ => None,
    };
    Ok(Some(SeasonRow { block_id: block_id.to_owned(), year, versions_now, reckoned }))
}

pub(crate) async fn seasons_of(db: &Pools, block_id: &str) -> Result<Vec<i32>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    let years: Vec<i64> = sqlx::query_scalar("SELECT year FROM season WHERE block_id = $1 ORDER BY year")
        .bind(block_id)
        .fetch_all(&mut *tx)
        .await?;
    years.into_iter().map(read::bloom_year).collect()
}

/// Block and year.
pub(super) type Key = (String, i32);

/// Where a stale season stands: its key, farm and site, and its versions.
struct Found {
    key: Key,
    farm_id: String,
    site_id: String,
    moved: bool,
    versions: Versions,
}

pub(crate) async fn stale_seasons(
    db: &Pools,
    now: Instant,
    program: i64,
    after: Option<&StaleKey>,
    limit: u32,
) -> Result<Vec<Stale>> {
    let mut tx = db.begin_read().await?;
    let found = find_stale(&mut tx, now, program, after, limit).await?;
    let keys: Vec<&Key> = found.iter().map(|found| &found.key).collect();
    let farms = load::farms(&mut tx, found.iter().map(|found| found.farm_id.as_str())).await?;
    let sites = load::sites(&mut tx, found.iter().map(|found| found.site_id.as_str())).await?;
    let blocks = load::blocks(&mut tx, found.iter().map(|found| found.key.0.as_str())).await?;
    let mut plans = plans_of(&mut tx, &keys).await?;
    let mut logs = logs_of(&mut tx, &keys).await?;
    let mut alerts = alerts_of(&mut tx, &keys).await?;
    let of_farms = || found.iter().map(|found| found.farm_id.as_str());
    let confirmed = confirmations::standing(&mut tx, of_farms()).await?;
    let rules = confirmations::rules(&mut tx, of_farms()).await?;
    let mut lenders = lending::lenders(&mut tx, &keys).await?;
    let contacts = contacts::of_farms(&mut tx, of_farms()).await?;
    let silenced = contacts::silenced(&mut tx, of_farms()).await?;
    let mut mutes = contacts::mutes(&mut tx, &keys).await?;
    let fed = fed(&mut tx, found.iter().map(|found| found.site_id.as_str())).await?;
    Ok(found
        .iter()
        .map(|Found { key, farm_id, site_id, moved, versions }| Stale {
            moved: *moved,
            year: key.1,
            versions: *versions,
            farm: load::take(&farms, farm_id),
            site: load::take(&sites, site_id),
            block: load::take(&blocks, &key.0),
            plan: plans.get(key).and_then(|versions| Some(versions.last()?.1.clone())),
            plan_versions: plans.remove(key).filter(|versions| versions.len() > 1).unwrap_or_default(),
            log: logs::in_order(logs.remove(key).unwrap_or_default()),
            alerts: alerts::in_order(alerts.remove(key).unwrap_or_default()),
            confirmed: confirmed.get(farm_id).cloned().unwrap_or_default(),
            rules: rules.get(farm_id).cloned().unwrap_or_default(),
            lenders: lenders.remove(key).unwrap_or_default(),
            contacts: contacts.get(farm_id).cloned().unwrap_or_default(),
            silenced: silenced.get(farm_id).cloned().unwrap_or_default(),
            mutes: mutes.remove(key).unwrap_or_default(),
            fed: fed.contains(site_id),
        })
        .collect())
}

/// Those of some sites that a feed brings readings of.
async fn fed<'a>(
    connection: &mut Connection,
    sites: impl Iterator<Item = &'a str>,
) -> Result<BTreeSet<String>> {
    let sites: Vec<&str> = sites.collect::<BTreeSet<_>>().into_iter().collect();
    let mut fed = BTreeSet::new();
    for sites in sites.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "SELECT DISTINCT site_id FROM source WHERE way = 'feed' AND site_id IN (",
        );
        load::list(&mut query, sites.iter().copied());
        let found: Vec<String> =
            query.push(")").build_query_scalar().persistent(false).fetch_all(&mut *connection).await?;
        fed.extend(found);
    }
    Ok(fed)
}

async fn find_stale(
    connection: &mut Connection,
    now: Instant,
    program: i64,
    after: Option<&StaleKey>,
    limit: u32,
) -> Result<Vec<Found>> {
    type Columns = (String, i64, String, String, i64, i64, i64, i64, i64);
    let catalogue: i64 = sqlx::query_scalar("SELECT last FROM counter WHERE kind = 'catalogue'")
        .fetch_one(&mut *connection)
        .await?;
    let (after_site, after_block, after_year) =
        after.map_or(("", "", 0), |key| (key.site_id.as_str(), key.block_id.as_str(), key.year));
    let rows: Vec<Columns> = sqlx::query_as(concat!(
        "SELECT season.block_id, season.year, block.farm_id, block.site_id, ",
        weather_version!(),
        ", block.version, season.log_version, season.plan_version, \
         (SELECT count(*) FROM stay WHERE stay.block_id = block.id) \
         FROM season JOIN block ON block.id = season.block_id \
         JOIN site ON site.id = block.site_id JOIN farm ON farm.id = block.farm_id \
         WHERE block.archived_at IS NULL AND farm.closed_at IS NULL \
         AND (season.reckoned_program IS NULL OR season.reckoned_program <> $1 \
         OR season.reckoned_catalogue <> $7 \
         OR season.reckoned_site <> ",
        weather_version!(),
        " OR season.reckoned_block <> block.version \
         OR season.reckoned_log <> season.log_version \
         OR season.reckoned_plan <> season.plan_version OR season.look_again_at <= $2) \
         AND (block.site_id, season.block_id, season.year) > ($3, $4, $5) \
         ORDER BY block.site_id, season.block_id, season.year LIMIT $6"
    ))
    .bind(program)
    .bind(now.0)
    .bind(after_site)
    .bind(after_block)
    .bind(i64::from(after_year))
    .bind(i64::from(limit))
    .bind(catalogue)
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|(block_id, year, farm_id, site_id, site, block, log, plan, stays)| {
            let key = (block_id, read::bloom_year(year)?);
            let versions = Versions { site, block, log, plan, catalogue, program };
            Ok(Found { key, farm_id, site_id, moved: stays > 0, versions })
        })
        .collect()
}

fn pushed(query: &mut QueryBuilder<Db>, keys: &[&Key]) {
    load::seasons(query, keys.iter().map(|(block_id, year)| (block_id.as_str(), *year)));
}

/// A plan's versions, each with when it was set, the first one first.
pub(super) type Versioned = Vec<(Instant, Value)>;

pub(super) async fn plans_of(connection: &mut Connection, keys: &[&Key]) -> Result<HashMap<Key, Versioned>> {
    let mut plans: HashMap<Key, Versioned> = HashMap::new();
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "SELECT plan.block_id, plan.year, plan.at, plan.doc FROM season JOIN plan \
             ON plan.block_id = season.block_id AND plan.year = season.year \
             AND plan.version <= season.plan_version WHERE (season.block_id, season.year) IN ",
        );
        pushed(&mut query, keys);
        query.push(" ORDER BY plan.block_id, plan.year, plan.version");
        let rows: Vec<(String, i64, i64, String)> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for (block_id, year, at, doc) in rows {
            let doc = text::doc(&doc, || format!("plan of block `{block_id}` for {year}"))?;
            plans.entry((block_id, read::bloom_year(year)?)).or_default().push((Instant(at), doc));
        }
    }
    Ok(plans)
}

pub(super) async fn logs_of(
    connection: &mut Connection,
    keys: &[&Key],
) -> Result<HashMap<Key, Vec<LogEntry>>> {
    let mut logs: HashMap<Key, Vec<LogEntry>> = HashMap::new();
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(concat!(
            "SELECT block_id, year, ",
            columns!(log_entry),
            " FROM log_entry WHERE (block_id, year) IN "
        ));
        pushed(&mut query, keys);
        let rows: Vec<(String, i64, String, i64, String, String, i64)> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for (block_id, year, id, at, kind, doc, received_at) in rows {
            let entry = read::log_entry((id, at, kind, doc, received_at))?;
            logs.entry((block_id, read::bloom_year(year)?)).or_default().push(entry);
        }
    }
    Ok(logs)
}

async fn alerts_of(connection: &mut Connection, keys: &[&Key]) -> Result<HashMap<Key, Vec<AlertRow>>> {
    let mut alerts: HashMap<Key, Vec<AlertRow>> = HashMap::new();
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(concat!(
            "SELECT ",
            columns!(alert),
            " FROM alert WHERE (block_id, year) IN "
        ));
        pushed(&mut query, keys);
        let rows: Vec<AlertColumns> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for row in rows {
            let alert = read::alert(row)?;
            alerts.entry((alert.block_id.clone(), alert.year)).or_default().push(alert);
        }
        let mut query = QueryBuilder::<Db>::new(
            "SELECT DISTINCT item.alert_id FROM alert JOIN item ON item.alert_id = alert.id \
             JOIN message ON message.id = item.message_id \
             WHERE message.attempts > 0 AND (alert.block_id, alert.year) IN ",
        );
        pushed(&mut query, keys);
        let mailed: Vec<String> =
            query.build_query_scalar().persistent(false).fetch_all(&mut *connection).await?;
        let mailed: BTreeSet<String> = mailed.into_iter().collect();
        for alert in alerts.values_mut().flatten() {
            alert.mailed |= mailed.contains(&alert.id);
        }
    }
    Ok(alerts)
}
