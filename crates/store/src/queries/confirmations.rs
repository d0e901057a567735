//! Who has confirmed which material, and a farm's own tables. Both raise the
//! version of each of its blocks, so that their seasons are reckoned anew.

use model::time::Instant;
use serde_json::{Value, json};
use sqlx::QueryBuilder;
use std::collections::HashMap;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, load};
use crate::error::{missing, naming};
use crate::rows::Confirmed;
use crate::{ROWS_A_STATEMENT, Result, text};

type Columns = (String, String, String, String, i64, Option<i64>);

const COLUMNS: &str = "SELECT id, farm_id, material, doc, at, taken_back_at FROM confirmation ";

fn read((id, farm_id, material, doc, at, taken_back_at): Columns) -> Result<Confirmed> {
    let doc = text::doc(&doc, || format!("confirmation `{id}`"))?;
    Ok(Confirmed { id, farm_id, material, doc, at: Instant(at), taken_back_at: taken_back_at.map(Instant) })
}

pub(crate) async fn confirm(db: &Pools, confirmed: &Confirmed) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&confirmed.farm_id)).await?;
    sqlx::query("INSERT INTO confirmation (id, farm_id, material, doc, at) VALUES ($1, $2, $3, $4, $5)")
        .bind(&confirmed.id)
        .bind(&confirmed.farm_id)
        .bind(&confirmed.material)
        .bind(text::of(&confirmed.doc))
        .bind(confirmed.at.0)
        .execute(&mut *tx)
        .await
        .map_err(naming(
            format!("confirmation `{}`", confirmed.id),
            &format!("farm `{}`", confirmed.farm_id),
        ))?;
    raise(&mut tx, &confirmed.farm_id).await?;
    let note = Note::new(Of::Farm(&confirmed.farm_id), "material confirmed", "farm", &confirmed.farm_id);
    let detail = json!({"material": confirmed.material, "confirmation": confirmed.id});
    notes::note(&mut tx, db, note.with(detail)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn confirmations(db: &Pools, farm_id: &str) -> Result<Vec<Confirmed>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(Vec::new());
    }
    let mut query = QueryBuilder::<Db>::new(COLUMNS);
    query.push("WHERE farm_id = ").push_bind(farm_id).push(" ORDER BY id");
    let rows: Vec<Columns> = query.build_query_as().fetch_all(&mut *tx).await?;
    rows.into_iter().map(read).collect()
}

pub(crate) async fn take_confirmation_back(db: &Pools, farm_id: &str, id: &str, at: Instant) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(farm_id)).await?;
    let taken = sqlx::query(
        "UPDATE confirmation SET taken_back_at = $3 WHERE id = $1 AND farm_id = $2 AND taken_back_at IS NULL",
    )
    .bind(id)
    .bind(farm_id)
    .bind(at.0)
    .execute(&mut *tx)
    .await?;
    if taken.rows_affected() == 0 {
        return Ok(false);
    }
    raise(&mut tx, farm_id).await?;
    let note = Note::new(Of::Farm(farm_id), "confirmation taken back", "farm", farm_id);
    notes::note(&mut tx, db, note.with(json!({"confirmation": id}))).await?;
    tx.commit().await?;
    Ok(true)
}

/// Those that stand, by farm.
pub(super) async fn standing<'a>(
    connection: &mut Connection,
    farms: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Vec<Value>>> {
    let farms: Vec<&str> = farms.into_iter().collect::<std::collections::BTreeSet<_>>().into_iter().collect();
    let mut standing: HashMap<String, Vec<Value>> = HashMap::new();
    for farms in farms.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(COLUMNS);
        query.push("WHERE taken_back_at IS NULL AND farm_id IN (");
        load::list(&mut query, farms.iter().copied());
        query.push(") ORDER BY id");
        let rows: Vec<Columns> = query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for row in rows {
            let confirmed = read(row)?;
            standing.entry(confirmed.farm_id).or_default().push(confirmed.doc);
        }
    }
    Ok(standing)
}

pub(crate) async fn set_farm_rule(
    db: &Pools,
    farm_id: &str,
    kind: &str,
    doc: Option<&Value>,
    at: Instant,
) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(farm_id)).await?;
    let held = rule(&mut tx, farm_id, kind).await?;
    if held.as_ref() == doc {
        return Ok(());
    }
    match doc {
        Some(doc) => sqlx::query(
            "INSERT INTO farm_rule (farm_id, kind, doc, at) VALUES ($1, $2, $3, $4) \
             ON CONFLICT (farm_id, kind) DO UPDATE SET doc = excluded.doc, at = excluded.at",
        )
        .bind(farm_id)
        .bind(kind)
        .bind(text::of(doc))
        .bind(at.0)
        .execute(&mut *tx)
        .await
        .map_err(naming(format!("{kind} of farm `{farm_id}`"), &format!("farm `{farm_id}`")))?,
        None => {
            sqlx::query("DELETE FROM farm_rule WHERE farm_id = $1 AND kind = $2")
                .bind(farm_id)
                .bind(kind)
                .execute(&mut *tx)
                .await?
        }
    };
    raise(&mut tx, farm_id).await?;
    let deed = if doc.is_some() { "own table set" } else { "own table removed" };
    let note = Note::new(Of::Farm(farm_id), deed, "farm", farm_id).with(json!({"table": kind, "rows": doc}));
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn farm_rule(db: &Pools, farm_id: &str, kind: &str) -> Result<Option<Value>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(None);
    }
    rule(&mut tx, farm_id, kind).await
}

async fn rule(connection: &mut Connection, farm_id: &str, kind: &str) -> Result<Option<Value>> {
    let doc: Option<String> =
        sqlx::query_scalar("SELECT doc FROM farm_rule WHERE farm_id = $1 AND kind = $2")
            .bind(farm_id)
            .bind(kind)
            .fetch_optional(connection)
            .await?;
    doc.map(|doc| text::doc(&doc, || format!("{kind} of farm `{farm_id}`"))).transpose()
}

/// The tables of some farms, each with its kind.
pub(super) async fn rules<'a>(
    connection: &mut Connection,
    farms: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Vec<(String, Value)>>> {
    let farms: Vec<&str> = farms.into_iter().collect::<std::collections::BTreeSet<_>>().into_iter().collect();
    let mut rules: HashMap<String, Vec<(String, Value)>> = HashMap::new();
    for farms in farms.chunks(ROWS_A_STATEMENT) {
        let mut query =
            QueryBuilder::<Db>::new("SELECT farm_id, kind, doc FROM farm_rule WHERE farm_id IN (");
        load::list(&mut query, farms.iter().copied());
        query.push(") ORDER BY farm_id, kind");
        let rows: Vec<(String, String, String)> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for (farm_id, kind, doc) in rows {
            let doc = text::doc(&doc, || format!("{kind} of farm `{farm_id}`"))?;
            rules.entry(farm_id).or_default().push((kind, doc));
        }
    }
    Ok(rules)
}

async fn raise(connection: &mut Connection, farm_id: &str) -> Result<()> {
    let farms: i64 = sqlx::query_scalar("SELECT count(*) FROM farm WHERE id = $1")
        .bind(farm_id)
        .fetch_one(&mut *connection)
        .await?;
    if farms == 0 {
        return Err(missing("farm", farm_id));
    }
    sqlx::query("UPDATE block SET version = version + 1 WHERE farm_id = $1")
        .bind(farm_id)
        .execute(connection)
        .await?;
    Ok(())
}
