//! Before the clock: target, buds, frost, damage, and the decision.

use model::frost::Ahead;

use super::{Part, Told};
use crate::said;

/// The target with what it rests on, and what the trees carried last.
pub(crate) fn target(told: &Told<'_>) -> Part {
    let Told { seen, season, last, .. } = told;
    let block = &seen.plan.block;
    let mut part = Part::new("Target");
    part.say(block.target.told());
    if season.threshold > 0.0 {
        part.say(format!("The clock starts at {} live open flowers a tree.", said::number(season.threshold)));
    }
    let counted = last.as_ref().and_then(|last| last.outcome.as_ref()).and_then(|outcome| outcome.treated);
    // What was entered is of the year before this one, whatever season is read.
    let entered = block.last_crop_per_tree.filter(|_| season.year == told.now.local_year(seen.plan.zone));
    part.say(match (entered, counted) {
        (_, Some(set)) => format!(
            "Last year’s set, counted on {} trees: {} fruit a tree.",
            set.fruit.n,
            said::number(set.fruit.mean)
        ),
        (Some(crop), None) => format!("Last year’s crop: {} fruit a tree, as entered.", said::number(crop)),
        (None, None) => "Last year’s crop is not known here.".to_owned(),
    });
    part
}

/// Buds against the target.
pub(crate) fn buds(told: &Told<'_>) -> Part {
    let mut part = Part::new("Buds");
    match &told.season.buds {
        Some(buds) => part.say(buds.told()),
        None => part.say("No buds were counted."),
    }
    part
}

/// Cold nights, what is ahead, and what was alive after.
pub(crate) fn damage(told: &Told<'_>) -> Part {
    let Told { seen, season, .. } = told;
    let frost = &season.frost;
    let celsius = |value: f64| said::celsius(value, told.units);
    let mut part = Part::new("Frost and damage");
    if !frost.nights.is_empty() {
        part.columns = vec!["Night of", "Coldest", "10 % line", "At or below it"];
    }
    for night in &frost.nights {
        let held = match (night.hit_at, night.ninety) {
            (Some(_), true) => format!("{} min, 90 % line too", night.minutes),
            (Some(_), false) => format!("{} min", night.minutes),
            (None, _) if night.unknown => "hours missing".to_owned(),
            (None, _) => "not for 30 min".to_owned(),
        };
        part.rows.push(vec![
            night.date.format("%-d %b").to_string(),
            night.minimum_c.map_or("not read".to_owned(), celsius),
            night.line_c.map_or("no stage".to_owned(), celsius),
            held,
        ]);
    }
    if frost.nights.is_empty() {
        part.say("No night came near what kills flowers, as far as readings go.");
    }
    if let Some(night) = &frost.look_after {
        part.say(format!("Nobody has counted damage since {night}."));
    }
    if let Some(ahead @ Ahead::Cold { at, lowest_c, .. }) = frost.ahead {
        part.say(format!(
            "Frost is forecast from {} on, down to {}.",
            at.spoken(seen.plan.zone),
            celsius(lowest_c)
        ));
        part.said.extend(ahead.chance_told());
    }
    match &season.damage {
        Some(damage) => {
            part.say(format!("Counted {}:", damage.at.spoken(seen.plan.zone)));
            part.said.extend(damage.told());
        }
        None => part.say("No damage count."),
    }
    part
}

/// What the table says with every row that matches, and what was decided.
pub(crate) fn decision(told: &Told<'_>) -> Part {
    let Told { seen, season, .. } = told;
    let verdict = &season.verdict;
    let mut part = Part::new("To thin or not");
    part.say(match &season.decision {
        Some(decided) => {
            let what = if decided.thin { "thin" } else { "do not thin" };
            let reason = decided
                .reason
                .as_deref()
                .map_or("no reason was written".to_owned(), |why| format!("“{why}”"));
            let by = by(told, &decided.entry).map_or(String::new(), |by| format!(" by {by}"));
            format!("Decided {}{by}: {what}; {reason}.", said::dated(decided.at, seen.plan.zone))
        }
        None => "Nothing is decided yet.".to_owned(),
    });
    part.say(format!("The table says: {}. {}", verdict.verdict.spoken(), verdict.says));
    if verdict.close {
        part.say(match verdict.more_clusters {
            Some(more) => format!("It is close: {more} more clusters cut would tell."),
            None => "It is close, and cutting more clusters within reason would not tell.".to_owned(),
        });
    }
    if !verdict.missing.is_empty() {
        let missing: Vec<String> = verdict.missing.iter().map(|what| what.replace('-', " ")).collect();
        part.say(format!("Missing: {}.", missing.join(", ")));
    }
    if !verdict.would_change.is_empty() {
        part.say(format!("What would change it: {}", verdict.would_change.join(" ")));
    }
    if !verdict.matching.is_empty() {
        part.columns = vec!["Matching row", "Says", "Rests on"];
    }
    for row in &verdict.matching {
        part.rows.push(vec![row.verdict.spoken().to_owned(), row.says.clone(), row.basis.clone()]);
    }
    part
}

/// Who wrote an entry, where they said.
fn by(told: &Told<'_>, entry: &str) -> Option<String> {
    let row = told.seen.rows.iter().find(|row| row.id == entry)?;
    row.doc["by"].as_str().or(row.doc["author"].as_str()).map(str::to_owned)
}
