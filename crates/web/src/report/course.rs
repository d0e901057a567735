//! The clock: counts, start, marks and sprays, flowers that came through.

use model::legs::{EndedBy, Leg};
use model::plan::MarkBound;
use model::through;
use model::time::{HOUR, Instant};

use super::{Part, Told, material};
use crate::said;
use crate::sprayed::Sprayed;
use crate::words::Words;

/// Counts of open flowers and the start they give.
pub(crate) fn bloom(told: &Told<'_>) -> Part {
    let Told { seen, season, words, .. } = told;
    let zone = seen.plan.zone;
    let mut part = Part::new(words.get("report.bloom"));
    if let Some(stage) = season.frost.stage {
        part.say(words.fill("report.stage", &[("stage", &stage.spoken())]));
    }
    part.say(match &season.start {
        Some(start) => start.told(season.threshold, zone),
        None => words.get("report.not_started").to_owned(),
    });
    let borrowed = &season.borrowed;
    for (key, from) in [
        ("report.start_of", &borrowed.start),
        ("report.stage_of", &borrowed.stage),
        ("report.style_of", &borrowed.style_length),
    ] {
        part.said.extend(from.as_ref().map(|from| words.fill(key, &[("block", from)])));
    }
    if let Some(style) = &season.style {
        part.say(style.told());
    }
    if !season.counts.is_empty() {
        part.columns = words.all(["report.counted", "report.open_flowers", "report.trees"]);
    }
    for count in &season.counts {
        let error =
            if count.trees > 1 { format!(" ± {}", said::number(count.error)) } else { String::new() };
        part.rows.push(vec![
            count.at.spoken(zone),
            format!("{}{error}", said::number(count.live_open_per_tree)),
            count.trees.to_string(),
        ]);
    }
    part
}

/// Each leg with its mark and its spray, and sprays that ended none.
pub(crate) fn sprays(told: &Told<'_>, sprays: &[Sprayed]) -> Part {
    let Told { seen, season, words, .. } = told;
    let zone = seen.plan.zone;
    let mut part = Part { across: true, ..Part::new(words.get("report.sprays")) };
    part.columns = words.all([
        "report.leg",
        "report.planned",
        "report.mark",
        "report.reached",
        "report.sprayed",
        "report.style_then",
    ]);
    for leg in &season.legs {
        let planned = leg.number.checked_sub(1).and_then(|index| match leg.ended_at {
            Some(at) if leg.ended_by == Some(EndedBy::Spray) => seen.plan.when_sprayed(index, at),
            _ => seen.plan.sprays.get(index),
        });
        part.rows.push(vec![
            leg.number.to_string(),
            planned.map_or(words.get("report.no_more").to_owned(), |spray| material(told, &spray.material)),
            leg.mark.map_or("–".to_owned(), |mark| at_side(leg.bound, mark, words)),
            leg.reached(zone).or_else(|| leg.likely(zone)).unwrap_or_else(|| {
                (if leg.mark.is_some() { words.get("report.not_reached") } else { "–" }).to_owned()
            }),
            ended(told, leg, sprays),
            if leg.progress_low == leg.progress_high {
                said::style(leg.progress_low)
            } else {
                said::range(said::style(leg.progress_low), said::style(leg.progress_high), words)
            },
        ]);
    }
    if season.legs.is_empty() {
        part.columns = words.all(["report.one_spray", "report.planned", "report.mark"]);
        for (n, spray) in seen.plan.sprays.iter().enumerate() {
            let mark = at_side(Some(spray.bound), spray.mark, words);
            part.rows.push(vec![(n + 1).to_string(), material(told, &spray.material), mark]);
        }
    }
    if part.rows.is_empty() {
        part.columns.clear();
        part.say(words.get("report.none_planned"));
    }
    for spray in sprays {
        let ends = season.legs.iter().any(|leg| leg.ended_by_entry.as_deref() == Some(&spray.entry));
        let name = spray.record.material.as_deref();
        let name = name.map_or(words.get("report.some_spray").to_owned(), |id| material(told, id));
        let when = spray.at.spoken(zone);
        let say =
            |key: &str, share: &str| words.fill(key, &[("spray", &name), ("when", &when), ("share", &share)]);
        if spray.is_draft() {
            part.say(say("report.draft", ""));
        } else if !ends {
            part.say(say("report.ran_on", ""));
        }
        if let Some(share) = spray.record.share_of_block.filter(|share| *share < 1.0) {
            part.say(say("report.covered", &said::percent(share)));
        }
        if spray.doc["took"] == false {
            part.say(say("report.spoiled", ""));
        }
    }
    part
}

/// A mark with the side to keep to.
fn at_side(bound: Option<MarkBound>, mark: f64, words: &Words) -> String {
    let side = match bound {
        Some(bound) => bound.spoken(),
        None => words.get("report.at"),
    };
    format!("{side} {}", said::style(mark))
}

/// How a leg ended, and on which side of its mark.
fn ended(told: &Told<'_>, leg: &Leg, sprays: &[Sprayed]) -> String {
    let words = told.words;
    let Some(at) = leg.ended_at else { return words.get("report.not_ended").to_owned() };
    let when = at.spoken(told.seen.plan.zone);
    match leg.ended_by {
        Some(EndedBy::Spray) => {
            let spray = sprays.iter().find(|spray| Some(&spray.entry) == leg.ended_by_entry.as_ref());
            let name = spray.and_then(|spray| spray.record.material.as_deref()).map(|id| material(told, id));
            let name = name.map_or(String::new(), |name| format!("{name}, "));
            let against = match (leg.reached_at, leg.mark) {
                (Some(mark), _) => format!("; {}", beside(mark, at, words)),
                (None, Some(_)) => format!("; {}", words.get("report.before")),
                (None, None) => String::new(),
            };
            format!("{name}{when}{against}")
        }
        Some(EndedBy::BloomEnd) => words.fill("report.bloom_over", &[("when", &when)]),
        Some(EndedBy::StandDown) => words.fill("report.stood_down", &[("when", &when)]),
        Some(EndedBy::Age) | None => words.fill("report.closed", &[("when", &when)]),
    }
}

/// How many hours beside a mark a spray was, and on which side.
fn beside(mark: Instant, sprayed: Instant, words: &Words) -> String {
    let hours = (sprayed.since(mark) as f64 / HOUR as f64).round();
    let key = match hours {
        0.0 => "report.at_the_mark",
        -1.0 => "report.hour_before",
        1.0 => "report.hour_after",
        many if many < 0.0 => "report.hours_before",
        _ => "report.hours_after",
    };
    words.fill(key, &[("n", &hours.abs())])
}

/// Flowers that came through, and hours for bees, leg by leg.
pub(crate) fn flowers(told: &Told<'_>) -> Part {
    let Told { seen, season, words, .. } = told;
    let mut part = Part::new(words.get("report.through"));
    if let Some(flowers) = season.flowers_through {
        part.said.extend(through::told(flowers, seen.plan.block.target_fruit_per_tree));
    }
    if !season.legs.is_empty() {
        part.columns =
            words.all(["report.leg", "report.flowers_through", "report.bee_hours", "report.unknown_hours"]);
    }
    for leg in &season.legs {
        let hours = |of: fn(&model::pollination::BeeHours) -> f64| {
            leg.bee_hours
                .as_ref()
                .map_or(words.get("report.not_known").to_owned(), |bees| said::number(of(bees)))
        };
        part.rows.push(vec![
            leg.number.to_string(),
            leg.flowers_through
                .map_or(words.get("report.not_known").to_owned(), |through| said::flowers(through, words)),
            hours(|bees| bees.fit),
            hours(|bees| bees.unknown),
        ]);
    }
    part
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    #[test]
    fn the_side_of_a_mark_is_told_in_hours() {
        let mark = Instant(1_367_000_000);
        let told = |seconds: i64| beside(mark, mark.plus(seconds), english());
        assert_eq!(told(-3 * HOUR), "3 hours before the mark");
        assert_eq!([told(-HOUR), told(HOUR)], ["1 hour before the mark", "1 hour after the mark"]);
        assert_eq!(told(5 * HOUR), "5 hours after the mark");
        assert_eq!([told(600), told(-600)], ["within half an hour of the mark"; 2]);
    }
}
