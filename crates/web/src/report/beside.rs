//! What stands beside the clock: weather, outcome, what else was written, notes.

use super::{Part, Told};
use crate::said;
use model::season::MATERIALS_UNCONFIRMED;

/// Codes of the notes on what checking the readings found.
const CHECKED: [&str; 2] = ["readings-failed", "readings-suspect"];

/// Hours by quality, and what checking found.
pub(crate) fn weather(told: &Told<'_>) -> Part {
    let season = told.season;
    let (hours, words) = (season.hours, told.words);
    let mut part = Part::new(words.get("report.weather"));
    let whole = hours.observed + hours.filled + hours.unknown;
    if whole > 0.0 {
        let figure = |hours: f64| format!("{hours:.0}");
        part.say(words.fill(
            "report.hours",
            &[
                ("whole", &figure(whole)),
                ("observed", &figure(hours.observed)),
                ("share", &said::percent(hours.observed / whole)),
                ("filled", &figure(hours.filled)),
                ("unknown", &figure(hours.unknown)),
            ],
        ));
    } else {
        part.say(words.get("report.no_hours"));
    }
    if hours.forecast > 0.0 {
        part.say(words.fill("report.forecast_hours", &[("n", &format!("{:.0}", hours.forecast))]));
    }
    let cold = season.frost.nights.iter().filter(|night| night.hit_at.is_some()).count();
    part.say(match cold {
        0 => words.get("report.no_cold_night").to_owned(),
        1 => words.get("report.one_cold_night").to_owned(),
        many => words.fill("report.cold_nights", &[("n", &many)]),
    });
    let found = season.notes.iter().filter(|note| CHECKED.contains(&note.code.as_ref()));
    let before = part.said.len();
    part.said.extend(found.map(|note| note.text.to_string()));
    if part.said.len() == before && whole > 0.0 {
        part.say(words.get("report.nothing_found"));
    }
    part
}

/// What set, and whether bloom returned.
pub(crate) fn outcome(told: &Told<'_>) -> Part {
    let words = told.words;
    let mut part = Part::new(words.get("report.outcome"));
    match &told.season.outcome {
        Some(outcome) => {
            part.said.extend(outcome.told.iter().cloned());
            if outcome.treated.is_none() {
                part.say(words.get("report.set_open"));
            }
            if outcome.return_bloom.is_none() {
                part.say(words.get("report.return_open"));
            }
        }
        None => part.say(words.get("report.both_open")),
    }
    part
}

/// Notes, hives and thinning by hand, as they were written.
pub(crate) fn entries(told: &Told<'_>) -> Part {
    let (zone, words) = (told.seen.plan.zone, told.words);
    let mut part = Part::new(words.get("report.entries"));
    let stand = told.seen.log.stand(told.now);
    for entry in &stand.entries {
        let kind = entry.says.kind();
        if !["note", "pollination", "other-thinning"].contains(&kind) {
            continue;
        }
        let rows = &told.seen.rows;
        let corrected = rows.iter().rev().find(|row| row.kind == "correction" && row.doc["of"] == entry.id);
        let own = rows.iter().find(|row| row.id == entry.id);
        let Some(doc) = corrected.map(|row| &row.doc["entry"]).or(own.map(|row| &row.doc)) else { continue };
        let text = |field: &str| doc[field].as_str().map(str::to_owned);
        let hives = |field: &str, key: &str| Some(words.fill(key, &[("n", &doc[field].as_i64()?)]));
        let says = match kind {
            "note" => vec![text("text")],
            "pollination" => vec![
                hives("hives_in", "report.hives_in"),
                hives("hives_out", "report.hives_out"),
                text("note"),
            ],
            _ => {
                let thinned = |method: String| words.fill("report.thinned_by", &[("method", &method)]);
                vec![text("method").map(thinned), text("note")]
            }
        };
        let says: Vec<String> = says.into_iter().flatten().collect();
        part.say(format!("{}: {}", entry.at.spoken(zone), says.join(", ")));
    }
    part
}

/// What a reader must know beside the figures.
pub(crate) fn notes(told: &Told<'_>) -> Part {
    let mut part = Part::new(told.words.get("report.notes"));
    let unconfirmed = told.seen.plan.unconfirmed();
    if !unconfirmed.is_empty() {
        let names: Vec<String> = unconfirmed.iter().map(|id| super::material(told, id)).collect();
        part.say(format!("{}: {}", names.join(", "), model::words::UNCONFIRMED));
    }
    let others = told
        .season
        .notes
        .iter()
        .filter(|note| !CHECKED.contains(&note.code.as_ref()) && note.code != MATERIALS_UNCONFIRMED);
    part.said.extend(others.map(|note| note.text.to_string()));
    part
}
