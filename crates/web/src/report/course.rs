//! The clock: counts, start, marks and sprays, flowers that came through.

use model::legs::{EndedBy, Leg};
use model::plan::MarkBound;
use model::through;

use super::{Part, Told, material};
use crate::said;
use crate::sprayed::Sprayed;

/// Counts of open flowers and the start they give.
pub(crate) fn bloom(told: &Told<'_>) -> Part {
    let Told { seen, season, .. } = told;
    let zone = seen.plan.zone;
    let mut part = Part::new("Bloom");
    if let Some(stage) = season.frost.stage {
        part.say(format!("Stage, as logged or by the flowers open: {}.", stage.spoken()));
    }
    part.say(match &season.start {
        Some(start) => start.told(season.threshold, zone),
        None => "The clock has not started.".to_owned(),
    });
    let borrowed = &season.borrowed;
    for (what, from) in
        [("start", &borrowed.start), ("stage", &borrowed.stage), ("style length", &borrowed.style_length)]
    {
        part.said.extend(from.as_ref().map(|from| format!("Its {what} is that of {from}.")));
    }
    if let Some(style) = &season.style {
        part.say(style.told());
    }
    if !season.counts.is_empty() {
        part.columns = vec!["Counted", "Live open flowers a tree", "Trees"];
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
    let Told { seen, season, .. } = told;
    let zone = seen.plan.zone;
    let mut part = Part { across: true, ..Part::new("Marks and sprays") };
    part.columns = vec!["Leg", "Planned", "Mark", "Mark reached", "Sprayed", "Style then"];
    for leg in &season.legs {
        let planned = leg.number.checked_sub(1).and_then(|index| match leg.ended_at {
            Some(at) if leg.ended_by == Some(EndedBy::Spray) => seen.plan.when_sprayed(index, at),
            _ => seen.plan.sprays.get(index),
        });
        part.rows.push(vec![
            leg.number.to_string(),
            planned.map_or("nothing more planned".to_owned(), |spray| material(told, &spray.material)),
            leg.mark.map_or("–".to_owned(), |mark| format!("{} {}", side(leg.bound), said::style(mark))),
            leg.likely(zone)
                .map_or((if leg.mark.is_some() { "not reached" } else { "–" }).to_owned(), |told| {
                    told.trim_start_matches("mark reached ").to_owned()
                }),
            ended(told, leg, sprays),
            if leg.progress_low == leg.progress_high {
                said::style(leg.progress_low)
            } else {
                format!("{} to {}", said::style(leg.progress_low), said::style(leg.progress_high))
            },
        ]);
    }
    if season.legs.is_empty() {
        part.columns = vec!["Spray", "Planned", "Mark"];
        for (n, spray) in seen.plan.sprays.iter().enumerate() {
            let mark = format!("{} {}", side(Some(spray.bound)), said::style(spray.mark));
            part.rows.push(vec![(n + 1).to_string(), material(told, &spray.material), mark]);
        }
    }
    if part.rows.is_empty() {
        part.columns.clear();
        part.say("No spray is planned.");
    }
    for spray in sprays {
        let ends = season.legs.iter().any(|leg| leg.ended_by_entry.as_deref() == Some(&spray.entry));
        let name = spray.record.material.as_deref().map_or("A spray".to_owned(), |id| material(told, id));
        let when = spray.at.spoken(zone);
        if spray.is_draft() {
            part.say(format!("{name}, {when}: a draft without a finish; it resets nothing."));
        } else if !ends {
            part.say(format!("{name}, {when}: the clock ran on."));
        }
        if let Some(share) = spray.record.share_of_block.filter(|share| *share < 1.0) {
            part.say(format!("{name}, {when}: it covered {} of the block.", said::percent(share)));
        }
        if spray.doc["took"] == false {
            part.say(format!("{name}, {when}: spoiled, as written."));
        }
    }
    part
}

fn side(bound: Option<MarkBound>) -> &'static str {
    match bound {
        Some(MarkBound::NotBefore) => "not before",
        Some(MarkBound::NotAfter) => "not after",
        None => "at",
    }
}

/// How a leg ended, and on which side of its mark.
fn ended(told: &Told<'_>, leg: &Leg, sprays: &[Sprayed]) -> String {
    let zone = told.seen.plan.zone;
    let Some(at) = leg.ended_at else { return "not yet".to_owned() };
    let when = at.spoken(zone);
    match leg.ended_by {
        Some(EndedBy::Spray) => {
            let spray = sprays.iter().find(|spray| Some(&spray.entry) == leg.ended_by_entry.as_ref());
            let name = spray.and_then(|spray| spray.record.material.as_deref()).map(|id| material(told, id));
            let name = name.map_or(String::new(), |name| format!("{name}, "));
            let against = match (leg.reached_at, leg.mark) {
                (Some(mark), _) => format!("; {} the mark", said::apart(mark, at)),
                (None, Some(_)) => "; before the mark".to_owned(),
                (None, None) => String::new(),
            };
            format!(
                "{name}{when}{}",
                against.replace("within half an hour the", "within half an hour of the")
            )
        }
        Some(EndedBy::BloomEnd) => format!("bloom over {when}"),
        Some(EndedBy::StandDown) => format!("stood down {when}"),
        Some(EndedBy::Age) | None => format!("closed {when}, nothing more logged"),
    }
}

/// Flowers that came through, and hours for bees, leg by leg.
pub(crate) fn flowers(told: &Told<'_>) -> Part {
    let Told { seen, season, .. } = told;
    let mut part = Part::new("Flowers through, and bees");
    if let Some(flowers) = season.flowers_through {
        part.said.extend(through::told(flowers, seen.plan.block.target_fruit_per_tree));
    }
    if !season.legs.is_empty() {
        part.columns =
            vec!["Leg", "Flowers a tree through before its spray", "Hours fit for bees", "Unknown hours"];
    }
    for leg in &season.legs {
        let hours = |of: fn(&model::pollination::BeeHours) -> f64| {
            leg.bee_hours.as_ref().map_or("not known".to_owned(), |bees| said::number(of(bees)))
        };
        part.rows.push(vec![
            leg.number.to_string(),
            leg.flowers_through.map_or("not known".to_owned(), said::flowers),
            hours(|bees| bees.fit),
            hours(|bees| bees.unknown),
        ]);
    }
    part
}
