//! Sprays that stand after corrections, each as it was typed.

use chrono_tz::Tz;
use model::field_log::{Entry, FieldLog, Observed};
use model::materials::Material;
use model::record::{BlockFacts, Record};
use model::time::Instant;
use serde_json::Value;
use store::{Block, Farm, LogEntry};

/// One spray.
pub(crate) struct Sprayed {
    /// Id of its first entry.
    pub(crate) entry: String,
    /// When it began.
    pub(crate) at: Instant,
    /// What was typed.
    pub(crate) record: Record,
    /// The entry as it stands.
    pub(crate) doc: Value,
    /// Who wrote it, where they said.
    pub(crate) by: Option<String>,
    /// When that reached the server.
    pub(crate) received_at: Instant,
    /// Whether it was corrected.
    pub(crate) corrected: bool,
}

impl Sprayed {
    /// Whether its finish is not recorded: then it resets nothing.
    pub(crate) fn is_draft(&self) -> bool {
        self.record.finished_at.is_none()
    }
}

/// The sprays of a log by time. It hangs on the entries alone: a record is shown
/// whatever has become of its block's plan.
pub(crate) fn sprays(rows: &[LogEntry], now: Instant) -> Vec<Sprayed> {
    let entries = rows.iter().filter_map(|row| Entry::read(&row.doc, Some(&row.id)).ok()).collect();
    let Ok(log) = FieldLog::by_id(entries) else { return Vec::new() };
    let stand = log.stand(now);
    let standing = stand.entries.iter().filter(|entry| matches!(entry.says, Observed::Spray(_)));
    standing
        .filter_map(|entry| {
            let own = rows.iter().find(|row| row.id == entry.id)?;
            let correction = correction(rows, entry.id, now);
            let written = correction.unwrap_or(own);
            let doc = correction.map_or(&own.doc, |correction| &correction.doc["entry"]).clone();
            let said = |doc: &Value, field: &str| doc[field].as_str().map(str::to_owned);
            let by =
                [&doc, &own.doc].into_iter().find_map(|doc| said(doc, "by").or_else(|| said(doc, "author")));
            Some(Sprayed {
                entry: entry.id.to_owned(),
                at: entry.at,
                record: Record::of(&doc),
                doc,
                by,
                received_at: written.received_at,
                corrected: correction.is_some(),
            })
        })
        .collect()
}

/// The correction of an entry that holds: of several the highest id, where it was
/// not withdrawn.
fn correction<'a>(rows: &'a [LogEntry], of: &str, now: Instant) -> Option<&'a LogEntry> {
    let amends = |kind: &'static str, of: &str| {
        let of = of.to_owned();
        rows.iter().filter(move |row| row.kind == kind && row.at <= now && row.doc["of"] == of.as_str())
    };
    amends("correction", of)
        .filter(|row| row.doc["entry"]["kind"] == "spray" && amends("withdrawal", &row.id).next().is_none())
        .max_by(|a, b| a.id.cmp(&b.id))
}

/// What is known of a block beside its records, as texts that its facts borrow.
pub(crate) struct Facts {
    name: String,
    farm: String,
    cultivar: Option<String>,
    location: Option<String>,
    area: Option<String>,
    zone: Tz,
}

impl Facts {
    pub(crate) fn of(block: &Block, farm: &Farm, hectares: Option<f64>, zone: Tz) -> Facts {
        Facts {
            name: block.name.clone(),
            farm: farm.name.clone(),
            cultivar: block.details["cultivar"].as_str().map(str::to_owned),
            location: block.geometry.as_ref().and_then(corner),
            area: hectares.map(|hectares| model::mixing::Area::of(hectares).to_string()),
            zone,
        }
    }

    pub(crate) fn facts(&self) -> BlockFacts<'_> {
        BlockFacts {
            name: &self.name,
            farm: Some(&self.farm),
            cultivar: self.cultivar.as_deref(),
            location: self.location.as_deref(),
            crop: None,
            area: self.area.as_deref(),
            zone: Some(self.zone),
        }
    }
}

/// The first corner of a block on the map, latitude first.
fn corner(geometry: &Value) -> Option<String> {
    let mut place = &geometry["coordinates"];
    while place[0].is_array() {
        place = &place[0];
    }
    let (east, north) = (place[0].as_f64()?, place[1].as_f64()?);
    Some(format!("{north:.5}, {east:.5} (a corner on the map)"))
}

/// The area of a block as its details have it, ha.
pub(crate) fn hectares(block: &Block) -> Option<f64> {
    let area = block.details["area"].as_f64()?;
    match block.details["area_unit"].as_str()? {
        "acre" => Some(area * model::units::HECTARES_PER_ACRE),
        _ => Some(area),
    }
}

/// The material of a record among those known here.
pub(crate) fn material<'a>(record: &Record, known: &'a [Material]) -> Option<&'a Material> {
    known.iter().find(|material| Some(&material.id) == record.material.as_ref())
}
