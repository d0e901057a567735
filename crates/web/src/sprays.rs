//! A farm's spray records of a year, to be read and printed.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::materials::Material;
use model::record::{Profile, Record, named_fields};
use serde::Deserialize;
use store::{Block, Farm};

use crate::said::Reader;
use crate::sprayed::{Sprayed, material, sprays};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{Web, pages, said};
use api::Facts;

/// Blocks that are read at once.
const BLOCKS_AT_ONCE: u32 = 500;
/// The list of fields that records are held against unless another is chosen.
const USUAL_PROFILE: &str = "general";

#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    profile: Option<String>,
}

/// The records.
#[derive(Template)]
#[template(path = "sprays.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    year: i32,
    /// Id, name and whether it is the one in use.
    profiles: Vec<(String, String, bool)>,
    /// Where the list of fields in use comes from.
    source: Option<String>,
    records: Vec<Spray>,
}

/// One record.
struct Spray {
    block_id: String,
    block: String,
    material: String,
    began: String,
    entry: String,
    draft: bool,
    /// What was typed, label and value.
    fields: Vec<(&'static str, String)>,
    reentry: String,
    missing: Option<String>,
    written: String,
}

/// Every spray of a farm in a bloom year.
pub(crate) async fn page(
    State(web): State<Web>,
    signed: Signed,
    Path((farm, text)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Shown {
    let farm = signed.farm(&farm).await?;
    let year = signed.year(&text)?;
    let words = signed.words();
    let catalogue = signed.0.catalogue().await?;
    let id = asked.profile.as_deref().unwrap_or(USUAL_PROFILE);
    let profile = catalogue.rules.profiles.get(id);
    let mut records = Vec::new();
    for block in blocks(&signed, &farm).await? {
        let rows = signed.0.store().log(&block.id, year).await?;
        if !rows.iter().any(|row| row.kind == "spray") {
            continue;
        }
        let zone = signed.zone(&block).await?;
        let reader = signed.reader(zone);
        let facts = Facts::of(&block, &farm, zone, &catalogue);
        for spray in sprays(&rows, web.clock.now()) {
            let known = material(&spray.record, &catalogue.materials);
            records.push((spray.at, shown(&block, &facts, &spray, known, profile, reader)));
        }
    }
    records.sort_by_key(|(at, _)| *at);
    let all = catalogue.rules.profiles.0.iter();
    let page = Page {
        words,
        title: words.fill("sprays.title", &[("farm", &farm.name), ("year", &year)]),
        farm_id: farm.id,
        year,
        profiles: all.map(|one| (one.id.clone(), one.name.clone(), one.id == id)).collect(),
        source: profile.map(|profile| format!("{} ({})", profile.source, profile.status)),
        records: records.into_iter().map(|(_, record)| record).collect(),
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// All blocks of a farm, archived ones too.
async fn blocks(signed: &Signed, farm: &Farm) -> Result<Vec<Block>, Stop> {
    let mut all: Vec<Block> = Vec::new();
    loop {
        let after = all.last().map(|block| block.id.clone());
        let next = signed.0.store().blocks(Some(&farm.id), after.as_deref(), BLOCKS_AT_ONCE).await?;
        let last = next.len() < BLOCKS_AT_ONCE as usize;
        all.extend(next);
        if last {
            return Ok(all);
        }
    }
}

fn shown(
    block: &Block,
    facts: &Facts,
    spray: &Sprayed,
    known: Option<&Material>,
    profile: Option<&Profile>,
    reader: Reader,
) -> Spray {
    let Reader { zone, words, .. } = reader;
    let record = &spray.record;
    let facts = facts.block();
    let missing = profile.map(|profile| {
        let missing = profile.missing(record, known, &facts);
        profile.told(&missing, spray.at.local_date(zone))
    });
    let name = known.map(|material| material.name.clone()).or(record.material.clone());
    Spray {
        block_id: block.id.clone(),
        block: block.name.clone(),
        material: name.unwrap_or_else(|| words.get("sprays.no_material").to_owned()),
        began: said::dated(spray.at, zone),
        entry: spray.entry.clone(),
        draft: spray.is_draft(),
        fields: typed(spray, &facts, reader),
        reentry: match record.reentry_at() {
            Some(at) => model::words::nobody_before(&said::dated(at, zone)),
            None if record.reentry_seconds().is_some() => words.get("sprays.no_finish").to_owned(),
            None => model::words::NO_REENTRY.to_owned(),
        },
        missing,
        written: written(spray, zone, words),
    }
}

/// Who wrote the record, who corrected it, and when that was received.
fn written(spray: &Sprayed, zone: Tz, words: &Words) -> String {
    let by =
        |name: Option<&String>| name.map_or(String::new(), |name| words.fill("said.by", &[("by", name)]));
    let (first, last) = (spray.written_by.as_ref(), spray.corrected_by.as_ref());
    let at = said::dated(spray.received_at, zone);
    match spray.corrected {
        false => words.fill("sprays.written", &[("by", &by(first)), ("at", &at)]),
        true if first.is_some() && first != last => {
            let corrected = words.fill("said.corrected", &[("by", &by(last))]);
            words.fill(
                "sprays.written_corrected",
                &[("by", &by(first)), ("corrected", &corrected), ("at", &at)],
            )
        }
        true => words.fill("sprays.corrected", &[("by", &by(last)), ("at", &at)]),
    }
}

/// Every field that was typed, and the block's facts beside it.
pub(crate) fn typed(
    spray: &Sprayed,
    facts: &model::record::BlockFacts<'_>,
    reader: Reader,
) -> Vec<(&'static str, String)> {
    let (record, words) = (&spray.record, reader.words);
    let mut fields: Vec<(&'static str, String)> = Vec::new();
    for (name, label) in named_fields() {
        fields.extend(field(record, facts, name, reader).map(|value| (label, value)));
    }
    if let Some(share) = record.share_of_block {
        fields.push((words.get("sprays.share"), said::percent(share)));
    }
    if spray.doc["took"] == false {
        fields.push((words.get("sprays.took"), words.get("sprays.took_no").to_owned()));
    }
    if let Some(thins) = spray.doc["thins"].as_bool() {
        let says = if thins { "sprays.thins_yes" } else { "sprays.thins_no" };
        fields.push((words.get("sprays.thins"), words.get(says).to_owned()));
    }
    fields
}

fn field(
    record: &Record,
    facts: &model::record::BlockFacts<'_>,
    name: &str,
    reader: Reader,
) -> Option<String> {
    let Reader { zone, units, .. } = reader;
    let owned = |text: Option<&str>| text.map(str::to_owned);
    match name {
        "material" => record.material.clone(),
        "at" => record.at.map(|at| said::dated(at, zone)),
        "finished_at" => record.finished_at.map(|at| said::dated(at, zone)),
        "reentry_interval" => interval(&record.reentry_typed, reader.words),
        "block" => Some(facts.name.to_owned()),
        "farm" => owned(facts.farm),
        "cultivar" => owned(facts.cultivar),
        "location" => owned(facts.location),
        "time_zone" => Some(zone.name().to_owned()),
        _ => record.amount(name).map(|typed| said::amount(typed, units)).or_else(|| owned(record.text(name))),
    }
}

/// The re-entry interval as it was typed; a bare number is hours.
fn interval(typed: &[String], words: &Words) -> Option<String> {
    let each = |text: &String| match text.trim().parse::<f64>() {
        Ok(_) => words.fill("said.hours", &[("n", text)]),
        Err(_) => text.clone(),
    };
    let all: Vec<String> = typed.iter().map(each).collect();
    (!all.is_empty()).then(|| all.join(", "))
}
