//! What stands beside the clock: weather, outcome, what else was written, notes.

use model::season::MATERIALS_UNCONFIRMED;
use model::words;

use super::{Part, Told};
use crate::said;

/// Codes of the notes on what checking the readings found.
const CHECKED: [&str; 2] = ["readings-failed", "readings-suspect"];

/// Hours by quality, and what checking found.
pub(crate) fn weather(told: &Told<'_>) -> Part {
    let season = told.season;
    let hours = season.hours;
    let mut part = Part::new("Weather");
    let whole = hours.observed + hours.filled + hours.unknown;
    if whole > 0.0 {
        part.say(format!(
            "Of {:.0} hours from the start to the end or the last reading, {:.0} were read here ({}), {:.0} filled from \
             another source, {:.0} unknown.",
            whole,
            hours.observed,
            said::percent(hours.observed / whole),
            hours.filled,
            hours.unknown
        ));
    } else {
        part.say("No leg has run yet, so no hours are counted.");
    }
    if hours.forecast > 0.0 {
        part.say(format!("{:.0} hours are forecast.", hours.forecast));
    }
    let cold = season.frost.nights.iter().filter(|night| night.hit_at.is_some()).count();
    part.say(match cold {
        0 => "No night stood at the 10 % line for 30 minutes, as far as readings and stages are known."
            .to_owned(),
        1 => "One night stood at the 10 % line for 30 minutes.".to_owned(),
        many => format!("{many} nights stood at the 10 % line for 30 minutes."),
    });
    let found = season.notes.iter().filter(|note| CHECKED.contains(&note.code.as_ref()));
    let before = part.said.len();
    part.said.extend(found.map(|note| note.text.to_string()));
    if part.said.len() == before && whole > 0.0 {
        part.say("The checks found nothing wrong with the readings.");
    }
    part
}

/// What set, and whether bloom returned.
pub(crate) fn outcome(told: &Told<'_>) -> Part {
    let mut part = Part::new("Outcome");
    match &told.season.outcome {
        Some(outcome) => {
            part.said.extend(outcome.told.iter().cloned());
            if outcome.treated.is_none() {
                part.say("What set on sprayed trees is not counted yet.");
            }
            if outcome.return_bloom.is_none() {
                part.say("Return bloom is not known yet.");
            }
        }
        None => part.say("Neither set nor return bloom is counted yet."),
    }
    part
}

/// Notes, hives and thinning by hand, as they were written.
pub(crate) fn entries(told: &Told<'_>) -> Part {
    let zone = told.seen.plan.zone;
    let mut part = Part::new("Written in the block");
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
        let count = |field: &str, words: &str| doc[field].as_i64().map(|hives| format!("{hives} {words}"));
        let says = match kind {
            "note" => vec![text("text")],
            "pollination" => {
                vec![count("hives_in", "hives in"), count("hives_out", "hives out"), text("note")]
            }
            _ => vec![text("method").map(|method| format!("thinned by {method}")), text("note")],
        };
        let says: Vec<String> = says.into_iter().flatten().collect();
        part.say(format!("{}: {}", entry.at.spoken(zone), says.join(", ")));
    }
    part
}

/// What a reader must know beside the figures.
pub(crate) fn notes(told: &Told<'_>) -> Part {
    let mut part = Part::new("Notes");
    let unconfirmed = told.seen.plan.unconfirmed();
    if !unconfirmed.is_empty() {
        let names: Vec<String> = unconfirmed.iter().map(|id| super::material(told, id)).collect();
        part.say(format!("{}: {}", names.join(", "), words::UNCONFIRMED));
    }
    let others = told
        .season
        .notes
        .iter()
        .filter(|note| !CHECKED.contains(&note.code.as_ref()) && note.code != MATERIALS_UNCONFIRMED);
    part.said.extend(others.map(|note| note.text.to_string()));
    part
}
