//! Sources of readings.

use model::time::Instant;
use serde_json::{Value, json};

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Pools, sites};
use crate::error::{changed, missing, naming};
use crate::read::{self, SourceColumns, columns};
use crate::rows::{Source, SourceState, TakenFile, Way};
use crate::{Result, StoreError, text};

pub(crate) async fn add_source(db: &Pools, source: &Source) -> Result<()> {
    let feed = source.way == Way::Feed;
    if [source.provider.is_some(), source.cell.is_some()] != [feed; 2] {
        return Err(StoreError::Refused(format!(
            "source `{}` comes by {}: a feed names its provider and cell, others name neither",
            source.name,
            source.way.word()
        )));
    }
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Site(&source.site_id)).await?;
    if feed {
        make_cell_due(&mut tx, source).await?;
    }
    let number: i64 =
        sqlx::query_scalar("UPDATE counter SET last = last + 1 WHERE kind = 'source' RETURNING last")
            .fetch_one(&mut *tx)
            .await?;
    sqlx::query(
        "INSERT INTO source (id, number, site_id, name, way, provider, cell, kind, trust, mapping, \
         created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
    )
    .bind(&source.id)
    .bind(number)
    .bind(&source.site_id)
    .bind(&source.name)
    .bind(source.way.word())
    .bind(&source.provider)
    .bind(&source.cell)
    .bind(source.kind.word())
    .bind(source.trust)
    .bind(source.mapping.as_ref().map(text::of))
    .bind(source.created_at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming(
        format!("source `{}` of that site, or the id `{}`,", source.name, source.id),
        &format!("site `{}`", source.site_id),
    ))?;
    let note = Note::new(Of::Site(&source.site_id), "source added", "site", &source.site_id);
    notes::note(&mut tx, db, note.with(json!({"source": source.id, "name": source.name}))).await?;
    tx.commit().await?;
    Ok(())
}

/// The cell is fetched at once, for the new source has nothing yet. A fetch
/// that is under way does not know of the source, so its lease ends here; and a
/// provider that is asked for what is new would have nothing for it.
async fn make_cell_due(connection: &mut Connection, source: &Source) -> Result<()> {
    sqlx::query(
        "INSERT INTO cell (provider, cell, next_at, token) VALUES ($1, $2, $3, 0) \
         ON CONFLICT (provider, cell) DO UPDATE SET token = cell.token + 1, lease_until = NULL, memory = NULL, \
         next_at = CASE WHEN cell.next_at < excluded.next_at THEN cell.next_at \
         ELSE excluded.next_at END",
    )
    .bind(&source.provider)
    .bind(&source.cell)
    .bind(source.created_at.0)
    .execute(connection)
    .await?;
    Ok(())
}

pub(crate) async fn source(db: &Pools, id: &str) -> Result<Option<Source>> {
    let mut look = db.begin_read().await?;
    if !wall::sees(&mut look, db, Of::Source(id)).await? {
        return Ok(None);
    }
    find(&mut look, id).await
}

async fn find(connection: &mut Connection, id: &str) -> Result<Option<Source>> {
    let row: Option<SourceColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(source), " FROM source WHERE id = $1"))
            .bind(id)
            .fetch_optional(connection)
            .await?;
    row.map(read::source).transpose()
}

pub(crate) async fn sources_of(db: &Pools, site_id: &str) -> Result<Vec<Source>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(Vec::new());
    }
    by_trust(&mut tx, site_id).await
}

/// The sources of a site in order of trust; the id decides between equals.
pub(super) async fn by_trust(connection: &mut Connection, site_id: &str) -> Result<Vec<Source>> {
    let rows: Vec<SourceColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(source),
        " FROM source WHERE site_id = $1 ORDER BY trust, id"
    ))
    .bind(site_id)
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(read::source).collect()
}

pub(crate) async fn set_mapping(db: &Pools, held: &Source, mapping: &Value) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Source(&held.id)).await?;
    super::readings::lock_source(&mut tx, &held.id).await?;
    let now = find(&mut tx, &held.id).await?.ok_or_else(|| missing("source", &held.id))?;
    if now != *held {
        return Err(changed("source", &held.id));
    }
    sqlx::query("UPDATE source SET mapping = $2 WHERE id = $1")
        .bind(&held.id)
        .bind(text::of(mapping))
        .execute(&mut *tx)
        .await?;
    let note = Note::new(Of::Site(&held.site_id), "source changed", "site", &held.site_id);
    notes::note(&mut tx, db, note.with(json!({"source": held.id, "mapping": mapping}))).await?;
    // What was refused, or read otherwise, is looked at again.
    sqlx::query("UPDATE taken_file SET taken_at = NULL, content = NULL WHERE source_id = $1")
        .bind(&held.id)
        .execute(&mut *tx)
        .await?;
    let source = Source { mapping: Some(mapping.clone()), ..held.clone() };
    if source.checked() != held.checked() {
        sites::raise(&mut tx, &held.site_id).await?;
    }
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn source_states(db: &Pools, site_id: &str) -> Result<Vec<SourceState>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Site(site_id)).await? {
        return Ok(Vec::new());
    }
    let mut states = Vec::new();
    for source in by_trust(&mut tx, site_id).await? {
        let (last_at, received_at): (Option<i64>, Option<i64>) = sqlx::query_as(
            "SELECT at, received_at FROM reading WHERE source = (SELECT number FROM source WHERE id = $1) \
             ORDER BY at DESC LIMIT 1",
        )
        .bind(&source.id)
        .fetch_optional(&mut *tx)
        .await?
        .map_or((None, None), |(at, received_at): (i64, i64)| (Some(at), Some(received_at)));
        states.push(SourceState {
            source,
            last_at: last_at.map(Instant),
            received_at: received_at.map(Instant),
        });
    }
    Ok(states)
}

pub(crate) async fn taken_files(db: &Pools, source_id: &str) -> Result<Vec<TakenFile>> {
    type Columns = (String, i64, i64, i64, Option<i64>, i64, Option<String>, Option<String>);
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Source(source_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<Columns> = sqlx::query_as(
        "SELECT name, size, modified_at, seen_at, taken_at, stored, content, fault FROM taken_file \
         WHERE source_id = $1 ORDER BY name",
    )
    .bind(source_id)
    .fetch_all(&mut *tx)
    .await?;
    let file = |(name, size, modified_at, seen_at, taken_at, stored, content, fault): Columns| TakenFile {
        source_id: source_id.to_owned(),
        name,
        size: size.unsigned_abs(),
        modified_at: Instant(modified_at),
        seen_at: Instant(seen_at),
        taken_at: taken_at.map(Instant),
        stored: stored.unsigned_abs(),
        content,
        fault,
    };
    Ok(rows.into_iter().map(file).collect())
}

pub(crate) async fn note_taken_file(db: &Pools, file: &TakenFile) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Source(&file.source_id)).await?;
    sqlx::query(
        "INSERT INTO taken_file (source_id, name, size, modified_at, seen_at, taken_at, stored, content, fault) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (source_id, name) DO UPDATE \
         SET size = excluded.size, modified_at = excluded.modified_at, seen_at = excluded.seen_at, \
         taken_at = excluded.taken_at, stored = excluded.stored, content = excluded.content, \
         fault = excluded.fault",
    )
    .bind(&file.source_id)
    .bind(&file.name)
    .bind(file.size.cast_signed())
    .bind(file.modified_at.0)
    .bind(file.seen_at.0)
    .bind(file.taken_at.map(|at| at.0))
    .bind(file.stored.cast_signed())
    .bind(&file.content)
    .bind(&file.fault)
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(())
}
