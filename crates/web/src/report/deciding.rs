//! Before the clock: target, buds, frost, damage, and the decision.

use model::frost::Ahead;

use super::{Part, Told};
use crate::{author, said};

/// The target with what it rests on, and what the trees carried last.
pub(crate) fn target(told: &Told<'_>) -> Part {
    let Told { seen, season, last, words, .. } = told;
    let block = &seen.plan.block;
    let mut part = Part::new(words.get("report.target"));
    part.say(block.target.told());
    if season.threshold > 0.0 {
        part.say(words.fill("report.starts_at", &[("n", &said::number(season.threshold))]));
    }
    let counted = last.as_ref().and_then(|last| last.outcome.as_ref()).and_then(|outcome| outcome.treated);
    // What was entered is of the year before this one, whatever season is read.
    let entered = block.last_crop_per_tree.filter(|_| season.year == told.now.local_year(seen.plan.zone));
    part.say(match (entered, counted) {
        (_, Some(set)) => words
            .fill("report.last_set", &[("trees", &set.fruit.n), ("fruit", &said::number(set.fruit.mean))]),
        (Some(crop), None) => words.fill("report.last_crop", &[("fruit", &said::number(crop))]),
        (None, None) => words.get("report.last_not_known").to_owned(),
    });
    part
}

/// Buds against the target.
pub(crate) fn buds(told: &Told<'_>) -> Part {
    let mut part = Part::new(told.words.get("report.buds"));
    match &told.season.buds {
        Some(buds) => part.say(buds.told()),
        None => part.say(told.words.get("report.no_buds")),
    }
    part
}

/// Cold nights, what is ahead, and what was alive after.
pub(crate) fn damage(told: &Told<'_>) -> Part {
    let Told { seen, season, words, .. } = told;
    let frost = &season.frost;
    let celsius = |value: f64| said::celsius(value, told.units);
    let mut part = Part::new(words.get("report.damage"));
    if !frost.nights.is_empty() {
        part.columns = words.all(["report.night", "report.coldest", "report.line", "report.below"]);
    }
    for night in &frost.nights {
        let held = match (night.hit_at, night.ninety) {
            (Some(_), true) => words.fill("report.held_ninety", &[("n", &night.minutes)]),
            (Some(_), false) => words.fill("said.minutes", &[("n", &night.minutes)]),
            (None, _) if night.unknown => words.get("report.hours_missing").to_owned(),
            (None, _) => words.get("report.not_held").to_owned(),
        };
        part.rows.push(vec![
            night.date.format("%-d %b").to_string(),
            night.minimum_c.map_or(words.get("report.not_read").to_owned(), celsius),
            night.line_c.map_or(words.get("report.no_stage").to_owned(), celsius),
            held,
        ]);
    }
    if frost.nights.is_empty() {
        part.say(words.get("report.no_frost"));
    }
    if let Some(night) = &frost.look_after {
        part.say(words.fill("report.not_looked", &[("night", night)]));
    }
    if let Some(ahead @ Ahead::Cold { at, lowest_c, .. }) = frost.ahead {
        part.say(words.fill(
            "report.frost_ahead",
            &[("at", &at.spoken(seen.plan.zone)), ("lowest", &celsius(lowest_c))],
        ));
        part.said.extend(ahead.chance_told());
    }
    match &season.damage {
        Some(damage) => {
            part.say(words.fill("report.damage_counted", &[("at", &damage.at.spoken(seen.plan.zone))]));
            part.said.extend(damage.told());
        }
        None => part.say(words.get("report.no_damage")),
    }
    part
}

/// What the table says with every row that matches, and what was decided.
pub(crate) fn decision(told: &Told<'_>) -> Part {
    let Told { seen, season, words, .. } = told;
    let verdict = &season.verdict;
    let mut part = Part::new(words.get("report.decision"));
    part.say(match &season.decision {
        Some(decided) => {
            let what = words.get(if decided.thin { "field.thin_yes" } else { "field.thin_no" });
            let reason = decided
                .reason
                .as_deref()
                .map_or(words.get("report.no_reason").to_owned(), |why| format!("“{why}”"));
            let by = by(told, &decided.entry);
            let at = said::dated(decided.at, seen.plan.zone);
            words.fill("report.decided", &[("at", &at), ("by", &by), ("what", &what), ("reason", &reason)])
        }
        None => words.get("report.not_decided").to_owned(),
    });
    part.say(
        words.fill("report.verdict", &[("verdict", &verdict.verdict.spoken()), ("says", &verdict.says)]),
    );
    if verdict.close {
        part.say(match verdict.more_clusters {
            Some(more) => words.fill("report.more_clusters", &[("n", &more)]),
            None => words.get("report.close").to_owned(),
        });
    }
    if !verdict.missing.is_empty() {
        let missing: Vec<String> = verdict.missing.iter().map(|what| what.replace('-', " ")).collect();
        part.say(words.fill("report.missing", &[("what", &missing.join(", "))]));
    }
    if !verdict.would_change.is_empty() {
        part.say(words.fill("report.would_change", &[("what", &verdict.would_change.join(" "))]));
    }
    if !verdict.matching.is_empty() {
        part.columns = words.all(["report.row", "report.says", "report.rests_on"]);
    }
    for row in &verdict.matching {
        part.rows.push(vec![row.verdict.spoken().to_owned(), row.says.clone(), row.basis.clone()]);
    }
    part
}

/// Who wrote an entry and who corrected it, where they said.
fn by(told: &Told<'_>, entry: &str) -> String {
    let rows = &told.seen.rows;
    let Some(first) = rows.iter().find(|row| row.id == entry) else { return String::new() };
    let words = told.words;
    let named = |by: Option<String>| by.map_or(String::new(), |by| words.fill("said.by", &[("by", &by)]));
    let mut by = named(author::of(&first.doc));
    if let Some(last) = rows.iter().rfind(|row| row.kind == "correction" && row.doc["of"] == entry) {
        let corrected = author::of_correction(&last.doc, &first.doc);
        by.push_str(&words.fill("said.corrected", &[("by", &named(corrected))]));
    }
    by
}
