//! All rows, read in one snapshot or written in one transaction.

use futures::TryStreamExt;
use sqlx::{AssertSqlSafe, QueryBuilder, Row};
use tokio::sync::mpsc::{Receiver, Sender};

use super::{Connection, Db, Pools, dialect};
use crate::copying::{Cell, Kind, Part, Table, TableSum, Tally};
use crate::{Result, StoreError};

/// Values that one insert carries: both databases take more.
const VALUES_A_STATEMENT: usize = 14_000;
/// Rows of one table that go over at once.
const ROWS_A_PART: usize = 2_000;
/// Has rows from the first step on.
const COUNTERS: &str = "counter";

/// Every table of the schema with its columns, in the order in which they were
/// made: what a table names stands before it.
pub(crate) async fn tables(connection: &mut Connection) -> Result<Vec<Table>> {
    let rows: Vec<(String, String, String)> = sqlx::query_as(dialect::COLUMNS).fetch_all(connection).await?;
    let mut tables: Vec<Table> = Vec::new();
    for (name, column, declared) in rows {
        let kind = Kind::of(&declared).ok_or_else(|| StoreError::Unreadable {
            what: format!("column `{column}` of table `{name}`"),
            why: format!("its type is {declared}"),
        })?;
        match tables.last_mut().filter(|last| last.name == name) {
            Some(last) => last.columns.push((column, kind)),
            None => tables.push(Table { name, columns: vec![(column, kind)] }),
        }
    }
    Ok(tables)
}

/// Reads a table, giving parts of it on.
async fn read(connection: &mut Connection, table: &Table, to: Option<&Sender<Part>>) -> Result<TableSum> {
    let columns: Vec<&str> = table.columns.iter().map(|(column, _)| column.as_str()).collect();
    let sql = format!("SELECT {} FROM {}", columns.join(", "), table.name);
    let mut tally = Tally::default();
    let mut part = Vec::new();
    let mut rows = sqlx::query(AssertSqlSafe(sql)).persistent(false).fetch(&mut *connection);
    while let Some(row) = rows.try_next().await? {
        let cells = cells(&row, table)?;
        tally.add(&cells);
        let Some(to) = to else { continue };
        part.push(cells);
        if part.len() == ROWS_A_PART {
            hand_on(to, table, std::mem::take(&mut part)).await?;
        }
    }
    if let Some(to) = to.filter(|_| !part.is_empty()) {
        hand_on(to, table, part).await?;
    }
    Ok(tally.of(table))
}

fn cells(row: &<Db as sqlx::Database>::Row, table: &Table) -> Result<Vec<Cell>> {
    let cell = |(at, (_, kind)): (usize, &(String, Kind))| -> Result<Cell, sqlx::Error> {
        Ok(match kind {
            Kind::Whole => Cell::Whole(row.try_get(at)?),
            Kind::Number => Cell::Number(row.try_get(at)?),
            Kind::Text => Cell::Text(row.try_get(at)?),
        })
    };
    table.columns.iter().enumerate().map(cell).collect::<Result<_, _>>().map_err(|error| {
        StoreError::Unreadable { what: format!("a row of table `{}`", table.name), why: error.to_string() }
    })
}

async fn hand_on(to: &Sender<Part>, table: &Table, rows: Vec<Vec<Cell>>) -> Result<()> {
    send(to, Part::Rows { table: table.clone(), rows }).await
}

async fn send(to: &Sender<Part>, part: Part) -> Result<()> {
    to.send(part).await.map_err(|_| StoreError::Refused("the copy was given up by the other side".into()))
}

/// What the tables hold.
pub(crate) async fn sums(db: &Pools) -> Result<Vec<TableSum>> {
    let mut tx = db.begin_read().await?;
    all(&mut tx, None).await
}

async fn all(connection: &mut Connection, to: Option<&Sender<Part>>) -> Result<Vec<TableSum>> {
    let mut sums = Vec::new();
    for table in tables(connection).await? {
        sums.push(read(connection, &table, to).await?);
    }
    Ok(sums)
}

/// Reads all rows of one moment and hands them on.
pub(crate) async fn give(db: &Pools, to: Sender<Part>) -> Result<()> {
    let mut tx = db.begin_read().await?;
    let sums = all(&mut tx, Some(&to)).await?;
    send(&to, Part::End(sums)).await
}

/// Writes all rows that are handed on, reads them back, and keeps them only when
/// what is read is what was handed on. Refused when there is anything already.
pub(crate) async fn take(
    db: &Pools,
    mut from: Receiver<Part>,
    told: &(dyn Fn(u64) + Send + Sync),
) -> Result<Vec<TableSum>> {
    let mut over = 0;
    let mut tx = db.begin_people().await?;
    let tables = tables(&mut tx).await?;
    for table in &tables {
        if table.name == COUNTERS {
            sqlx::query("DELETE FROM counter").execute(&mut *tx).await?;
        } else if any(&mut tx, table).await? {
            return Err(StoreError::Refused(format!(
                "the database to be written has rows in table `{}` already; name an empty one",
                table.name
            )));
        }
    }
    loop {
        match from.recv().await {
            Some(Part::Rows { table, rows }) => {
                if !tables.contains(&table) {
                    let name = table.name;
                    return Err(StoreError::Refused(format!("table `{name}` is another in each database")));
                }
                write(&mut tx, &table, &rows).await?;
                over += rows.len() as u64;
                told(over);
            }
            Some(Part::End(given)) => {
                let taken = sums_in_order_of(all(&mut tx, None).await?, &given);
                if taken != given {
                    let other = given.iter().zip(&taken).find(|(given, taken)| given != taken);
                    let name = other.map_or("", |(given, _)| given.table.as_str());
                    return Err(StoreError::Refused(format!(
                        "table `{name}` does not read back as it was written; nothing was kept"
                    )));
                }
                tx.commit().await?;
                return Ok(taken);
            }
            None => return Err(StoreError::Refused("the copy was cut short; nothing was kept".into())),
        }
    }
}

/// Both databases list their tables in the order in which they were made; a
/// table that one of them lacks stays missing.
fn sums_in_order_of(mut sums: Vec<TableSum>, given: &[TableSum]) -> Vec<TableSum> {
    sums.sort_by_key(|sum| given.iter().position(|given| given.table == sum.table).unwrap_or(usize::MAX));
    sums
}

async fn any(connection: &mut Connection, table: &Table) -> Result<bool> {
    let sql = format!("SELECT count(*) FROM (SELECT 1 FROM {} LIMIT 1) AS first", table.name);
    let found: i64 = sqlx::query_scalar(AssertSqlSafe(sql)).persistent(false).fetch_one(connection).await?;
    Ok(found > 0)
}

async fn write(connection: &mut Connection, table: &Table, rows: &[Vec<Cell>]) -> Result<()> {
    let columns: Vec<&str> = table.columns.iter().map(|(column, _)| column.as_str()).collect();
    for rows in rows.chunks((VALUES_A_STATEMENT / columns.len()).max(1)) {
        let insert = format!("INSERT INTO {} ({}) ", table.name, columns.join(", "));
        let mut query = QueryBuilder::<Db>::new(insert);
        query.push_values(rows, |mut values, row| {
            for cell in row {
                match cell {
                    Cell::Whole(value) => values.push_bind(*value),
                    Cell::Number(value) => values.push_bind(*value),
                    Cell::Text(value) => values.push_bind(value.as_deref()),
                };
            }
        });
        query.build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}
