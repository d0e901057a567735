//! Many rows at once, by their ids.

use std::collections::{BTreeSet, HashMap};

use sqlx::QueryBuilder;

use super::{Connection, Db};
use crate::read::{self, AlertColumns, BlockColumns, FarmColumns, SiteColumns, columns};
use crate::rows::{AlertRow, Block, Farm, Site};
use crate::{ROWS_A_STATEMENT, Result};

/// Pushes `a, b, c` as values.
pub(super) fn list<'a>(query: &mut QueryBuilder<Db>, values: impl Iterator<Item = &'a str>) {
    let mut list = query.separated(", ");
    for value in values {
        list.push_bind(value);
    }
}

/// Pushes `(block, year), …` as a list of values for `(block_id, year) IN`.
pub(super) fn seasons<'a>(query: &mut QueryBuilder<Db>, keys: impl Iterator<Item = (&'a str, i32)>) {
    query.push("(");
    query.push_values(keys, |mut row, (block_id, year)| {
        row.push_bind(block_id).push_bind(i64::from(year));
    });
    query.push(")");
}

/// Fetches rows by id in chunks and gives them by their id.
macro_rules! by_ids {
    ($connection:expr, $ids:expr, $select:expr, $columns:ty, $read:path) => {{
        let ids: Vec<&str> = $ids.into_iter().collect::<BTreeSet<_>>().into_iter().collect();
        let mut found = HashMap::with_capacity(ids.len());
        for ids in ids.chunks(ROWS_A_STATEMENT) {
            let mut query = QueryBuilder::<Db>::new($select);
            list(&mut query, ids.iter().copied());
            query.push(")");
            let rows: Vec<$columns> =
                query.build_query_as().persistent(false).fetch_all(&mut *$connection).await?;
            for row in rows {
                let row = $read(row)?;
                found.insert(row.id.clone(), row);
            }
        }
        Ok(found)
    }};
}

pub(super) async fn farms<'a>(
    connection: &mut Connection,
    ids: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Farm>> {
    let select = concat!("SELECT ", columns!(farm), " FROM farm WHERE id IN (");
    by_ids!(connection, ids, select, FarmColumns, read::farm)
}

pub(super) async fn sites<'a>(
    connection: &mut Connection,
    ids: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Site>> {
    let select = concat!("SELECT ", columns!(site), " FROM site WHERE id IN (");
    by_ids!(connection, ids, select, SiteColumns, read::site)
}

pub(super) async fn blocks<'a>(
    connection: &mut Connection,
    ids: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Block>> {
    let select = concat!("SELECT ", columns!(block), " FROM block WHERE id IN (");
    by_ids!(connection, ids, select, BlockColumns, read::block)
}

pub(super) async fn alerts<'a>(
    connection: &mut Connection,
    ids: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, AlertRow>> {
    let select = concat!("SELECT ", columns!(alert), " FROM alert WHERE id IN (");
    by_ids!(connection, ids, select, AlertColumns, read::alert)
}

/// The row of a key that a foreign key guarantees.
pub(super) fn take<V: Clone>(rows: &HashMap<String, V>, id: &str) -> V {
    rows.get(id).cloned().expect("a foreign key holds the row, read in the same snapshot")
}
