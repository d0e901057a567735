//! Blocks that borrow from others: a change of the lender makes the borrower's
//! season stale.

use std::collections::HashMap;

use serde_json::Value;
use sqlx::QueryBuilder;

use super::seasons::{Key, Versioned, logs_of, plans_of};
use super::{Connection, Db, load, logs};
use crate::error::missing;
use crate::rows::Lender;
use crate::{ROWS_A_STATEMENT, Result};

/// Notes whom a block borrows from, by its details; each must be a block of the
/// same farm, and not itself.
pub(super) async fn set(
    connection: &mut Connection,
    block_id: &str,
    farm_id: &str,
    details: &Value,
) -> Result<()> {
    sqlx::query("DELETE FROM borrowing WHERE block_id = $1").bind(block_id).execute(&mut *connection).await?;
    let borrows = details.get("borrows").and_then(Value::as_object);
    let mut lenders: Vec<&str> =
        borrows.into_iter().flat_map(|borrows| borrows.values()).filter_map(Value::as_str).collect();
    lenders.sort_unstable();
    lenders.dedup();
    for lender in lenders {
        let known: i64 =
            sqlx::query_scalar("SELECT count(*) FROM block WHERE id = $1 AND farm_id = $2 AND id <> $3")
                .bind(lender)
                .bind(farm_id)
                .bind(block_id)
                .fetch_one(&mut *connection)
                .await?;
        if known == 0 {
            return Err(missing("other block of this farm to borrow from", lender));
        }
        sqlx::query("INSERT INTO borrowing (block_id, lender_id) VALUES ($1, $2)")
            .bind(block_id)
            .bind(lender)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// Makes the seasons of the blocks that borrow from these stale, in any year when
/// none is given.
pub(super) async fn raise_borrowers(
    connection: &mut Connection,
    lenders: &[(&str, Option<i32>)],
) -> Result<()> {
    for lenders in lenders.chunks(ROWS_A_STATEMENT) {
        let mut query =
            QueryBuilder::<Db>::new("SELECT block_id, lender_id FROM borrowing WHERE lender_id IN (");
        load::list(&mut query, lenders.iter().map(|(id, _)| *id));
        query.push(") ORDER BY block_id");
        let pairs: Vec<(String, String)> =
            query.build_query_as().persistent(lenders.len() == 1).fetch_all(&mut *connection).await?;
        for (block_id, lender_id) in pairs {
            for (_, year) in lenders.iter().filter(|(id, _)| *id == lender_id) {
                sqlx::query(
                    "UPDATE season SET log_version = log_version + 1 WHERE block_id = $1 AND ($2 = 0 OR year = $2)",
                )
                .bind(&block_id)
                .bind(i64::from(year.unwrap_or(0)))
                .execute(&mut *connection)
                .await?;
            }
        }
    }
    Ok(())
}

/// The lenders of some seasons, with what they are reckoned from.
pub(super) async fn lenders(connection: &mut Connection, keys: &[&Key]) -> Result<HashMap<Key, Vec<Lender>>> {
    let mut pairs: Vec<(String, String)> = Vec::new();
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query =
            QueryBuilder::<Db>::new("SELECT block_id, lender_id FROM borrowing WHERE block_id IN (");
        load::list(&mut query, keys.iter().map(|(block_id, _)| block_id.as_str()));
        query.push(") ORDER BY block_id, lender_id");
        let found: Vec<(String, String)> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        pairs.extend(found);
    }
    if pairs.is_empty() {
        return Ok(HashMap::new());
    }
    let blocks = load::blocks(&mut *connection, pairs.iter().map(|(_, lender)| lender.as_str())).await?;
    let sites = load::sites(&mut *connection, blocks.values().map(|block| block.site_id.as_str())).await?;
    let wanted: Vec<(Key, Key)> = keys
        .iter()
        .flat_map(|key| {
            let theirs = pairs.iter().filter(|(block_id, _)| *block_id == key.0);
            theirs.map(|(_, lender)| ((*key).clone(), (lender.clone(), key.1)))
        })
        .collect();
    let of: Vec<&Key> = wanted.iter().map(|(_, lender)| lender).collect();
    let plans: HashMap<Key, Versioned> = plans_of(&mut *connection, &of).await?;
    let logs = logs_of(&mut *connection, &of).await?;
    let mut lenders: HashMap<Key, Vec<Lender>> = HashMap::new();
    for (key, lender) in wanted {
        let block = load::take(&blocks, &lender.0);
        let plan_versions = plans.get(&lender).cloned().unwrap_or_default();
        lenders.entry(key).or_default().push(Lender {
            site: load::take(&sites, &block.site_id),
            block,
            plan: plan_versions.last().map(|(_, plan)| plan.clone()),
            log: logs::in_order(logs.get(&lender).cloned().unwrap_or_default()),
        });
    }
    Ok(lenders)
}
