//! What changed, and who did it: written in the transaction of the change, as
//! its last statements. The counter's row is then held only until the commit,
//! so that numbers rise in the order in which others come to see them.

use std::collections::BTreeMap;

use serde_json::Value;
use sqlx::QueryBuilder;

use super::wall::{self, Of};
use super::{Connection, Db, Pools, load};
use crate::read::{self, AuditColumns, columns, seen_by};
use crate::rows::{Audit, AuditPart, Behalf, Change, ChangeKey};
use crate::{Result, text};

/// One thing that was done.
pub(super) struct Note<'a> {
    /// Whose it is.
    pub(super) of: Of<'a>,
    /// What was done, in a word or two.
    pub(super) deed: &'static str,
    /// What it was done to.
    pub(super) kind: &'static str,
    /// Its id.
    pub(super) subject: &'a str,
    /// The bloom year, where it is a season's.
    pub(super) year: Option<i32>,
    /// More about it.
    pub(super) detail: Value,
}

impl<'a> Note<'a> {
    /// Something done to a whole thing.
    pub(super) fn new(of: Of<'a>, deed: &'static str, kind: &'static str, subject: &'a str) -> Note<'a> {
        Note { of, deed, kind, subject, year: None, detail: Value::Null }
    }

    /// Something done to a season of a block.
    pub(super) fn season(deed: &'static str, block_id: &'a str, year: i32) -> Note<'a> {
        Note { year: Some(year), ..Note::new(Of::Block(block_id), deed, "season", block_id) }
    }

    pub(super) fn with(self, detail: Value) -> Note<'a> {
        Note { detail, ..self }
    }
}

/// The latest change of a thing takes the place of the one before.
const ANEW: &str =
    " ON CONFLICT (kind, subject, year) DO UPDATE SET number = excluded.number, farm_id = excluded.farm_id";
const INTO_AUDIT: &str = "INSERT INTO audit (number, at, farm_id, person_id, credential_id, request_id, deed, \
    kind, subject, year, detail) ";

/// Notes that something changed, and by whom where it was on someone's behalf.
pub(super) async fn note(connection: &mut Connection, db: &Pools, note: Note<'_>) -> Result<()> {
    let farm_id = wall::farm_of(connection, note.of).await?;
    note_all(connection, vec![(db.behalf(), farm_id, note)]).await
}

/// Notes only who did something: nothing changed that others follow.
pub(super) async fn note_deed(connection: &mut Connection, db: &Pools, note: Note<'_>) -> Result<()> {
    match db.behalf() {
        Some(behalf) => note_deed_of(connection, behalf, note).await,
        None => Ok(()),
    }
}

/// The same for someone who is not known before.
pub(super) async fn note_deed_of(connection: &mut Connection, behalf: &Behalf, note: Note<'_>) -> Result<()> {
    let farm_id = wall::farm_of(connection, note.of).await?;
    let number = next_number(connection).await?;
    write(connection, &[(number, behalf, &farm_id, &note)]).await
}

pub(super) async fn next_number(connection: &mut Connection) -> Result<i64> {
    Ok(sqlx::query_scalar("UPDATE counter SET last = last + 1 WHERE kind = 'change' RETURNING last")
        .fetch_one(connection)
        .await?)
}

/// Something done to a thing of a farm that is known, and on whose behalf.
pub(super) type Told<'a> = (Option<&'a Behalf>, Option<String>, Note<'a>);

/// Notes many things at once, as [`note`] does each.
pub(super) async fn note_all(connection: &mut Connection, told: Vec<Told<'_>>) -> Result<()> {
    if told.is_empty() {
        return Ok(());
    }
    let number = i64::try_from(told.len()).unwrap_or(i64::MAX);
    let last: i64 =
        sqlx::query_scalar("UPDATE counter SET last = last + $1 WHERE kind = 'change' RETURNING last")
            .bind(number)
            .fetch_one(&mut *connection)
            .await?;
    let numbered: Vec<(i64, Told<'_>)> = (last - number + 1..).zip(told).collect();
    // Of one thing the latest.
    let mut latest: BTreeMap<(&str, &str, i32), (i64, Option<&str>)> = BTreeMap::new();
    for (number, (_, farm_id, note)) in &numbered {
        latest
            .insert((note.kind, note.subject, note.year.unwrap_or_default()), (*number, farm_id.as_deref()));
    }
    let latest: Vec<_> = latest.into_iter().collect();
    for latest in latest.chunks(crate::ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new("INSERT INTO change (kind, subject, year, farm_id, number) ");
        query.push_values(latest, |mut row, ((kind, subject, year), (number, farm_id))| {
            row.push_bind(*kind).push_bind(*subject).push_bind(i64::from(*year));
            row.push_bind(*farm_id).push_bind(*number);
        });
        query.push(ANEW).build().persistent(latest.len() == 1).execute(&mut *connection).await?;
    }
    let deeds: Vec<Deed<'_>> = numbered
        .iter()
        .filter_map(|(number, (behalf, farm_id, note))| Some((*number, (*behalf)?, farm_id, note)))
        .collect();
    write(connection, &deeds).await
}

/// Who did what, each under its number.
type Deed<'a> = (i64, &'a Behalf, &'a Option<String>, &'a Note<'a>);

async fn write(connection: &mut Connection, deeds: &[Deed<'_>]) -> Result<()> {
    for deeds in deeds.chunks(crate::ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(INTO_AUDIT);
        query.push_values(deeds, |mut row, (number, behalf, farm_id, note)| {
            row.push_bind(*number)
                .push_bind(behalf.at.0)
                .push_bind(farm_id.as_deref())
                .push_bind(behalf.person_id.as_deref())
                .push_bind(behalf.credential_id.as_deref())
                .push_bind(&behalf.request_id)
                .push_bind(note.deed)
                .push_bind(note.kind)
                .push_bind(note.subject)
                .push_bind(note.year.map(i64::from))
                .push_bind((!note.detail.is_null()).then(|| text::of(&note.detail)));
        });
        query.build().persistent(deeds.len() == 1).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Notes many seasons and alerts that were reckoned anew, under one number.
pub(super) async fn note_reckoned(
    connection: &mut Connection,
    seasons: &[(&str, i32)],
    alerts: &[&str],
) -> Result<()> {
    if seasons.is_empty() {
        return Ok(());
    }
    let number = next_number(connection).await?;
    for seasons in seasons.chunks(crate::ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO change (kind, subject, year, farm_id, number) \
             SELECT 'season', season.block_id, season.year, block.farm_id, ",
        );
        query.push_bind(number).push(
            " FROM season JOIN block ON block.id = season.block_id WHERE (season.block_id, season.year) IN ",
        );
        load::seasons(&mut query, seasons.iter().copied());
        query.push(ANEW).build().persistent(false).execute(&mut *connection).await?;
    }
    for alerts in alerts.chunks(crate::ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO change (kind, subject, year, farm_id, number) \
             SELECT 'alert', alert.id, alert.year, block.farm_id, ",
        );
        query
            .push_bind(number)
            .push(" FROM alert JOIN block ON block.id = alert.block_id WHERE alert.id IN (");
        load::list(&mut query, alerts.iter().copied());
        query.push(")").push(ANEW).build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

pub(crate) async fn changes(db: &Pools, after: Option<&ChangeKey>, limit: u32) -> Result<Vec<Change>> {
    type Columns = (i64, String, String, i64, Option<String>);
    let first = ChangeKey::default();
    let after = after.unwrap_or(&first);
    let rows: Vec<Columns> = sqlx::query_as(concat!(
        "SELECT number, kind, subject, year, farm_id FROM change \
         WHERE (number, kind, subject, year) > ($1, $2, $3, $4) AND (farm_id IS NULL OR ",
        seen_by!("$6", "farm_id"),
        ") ORDER BY number, kind, subject, year LIMIT $5"
    ))
    .bind(after.number)
    .bind(&after.kind)
    .bind(&after.subject)
    .bind(i64::from(after.year))
    .bind(i64::from(limit))
    .bind(db.person())
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter()
        .map(|(number, kind, subject, year, farm_id)| {
            let year = if year == 0 { 0 } else { read::bloom_year(year)? };
            Ok(Change { key: ChangeKey { number, kind, subject, year }, farm_id })
        })
        .collect()
}

pub(crate) async fn audit(
    db: &Pools,
    farm_id: Option<&str>,
    part: AuditPart,
    limit: u32,
) -> Result<Vec<Audit>> {
    let (place, from, order) = match part {
        AuditPart::After(number) => ("audit.number > ", number, ""),
        AuditPart::Before(number) => ("audit.number < ", number, " DESC"),
        AuditPart::Since(at) => ("audit.at >= ", at.0, " DESC"),
    };
    let mut query = QueryBuilder::<Db>::new(concat!(
        "SELECT ",
        columns!(audit),
        " FROM audit LEFT JOIN person ON person.id = audit.person_id WHERE "
    ));
    query.push(place).push_bind(from);
    if let Some(farm_id) = farm_id {
        query.push(" AND audit.farm_id = ").push_bind(farm_id);
    }
    if let Some(person) = db.person() {
        wall::seen_by(&mut query, person, " AND audit.farm_id");
    }
    query.push(" ORDER BY audit.number").push(order).push(" LIMIT ").push_bind(i64::from(limit));
    let rows: Vec<AuditColumns> = query.build_query_as().fetch_all(&mut *db.look().await?).await?;
    rows.into_iter().map(read::audit).collect()
}

pub(crate) async fn deeds_of(db: &Pools, person_id: &str, limit: u32) -> Result<Vec<Audit>> {
    let rows: Vec<AuditColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(audit),
        " FROM audit LEFT JOIN person ON person.id = audit.person_id \
         WHERE audit.person_id = $1 ORDER BY audit.number DESC LIMIT $2"
    ))
    .bind(person_id)
    .bind(i64::from(limit))
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::audit).collect()
}
