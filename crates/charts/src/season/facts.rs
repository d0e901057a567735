//! What happened in a season, event by event.

use model::bloom::Basis;
use model::field_log::Observed;
use model::legs::{EndedBy, Leg};
use model::plan::Plan;
use model::time::Instant;

use super::SeasonPicture;
use super::told;

/// One event.
pub(super) struct Fact {
    pub at: Instant,
    pub what: String,
    pub detail: String,
}

/// A spray as far as a picture needs it.
pub(super) struct Sprayed {
    pub at: Instant,
    pub finished_at: Option<Instant>,
    /// The material's name for people.
    pub material: String,
    /// Number of the leg that it ended; none when the clock ran on.
    pub ended: Option<usize>,
}

/// All sprays of the log, by time.
pub(super) fn sprays(picture: &SeasonPicture<'_>) -> Vec<Sprayed> {
    let ended = |id: &str| {
        let by_it =
            |leg: &&Leg| leg.ended_by == Some(EndedBy::Spray) && leg.ended_by_entry.as_deref() == Some(id);
        picture.season.legs.iter().find(by_it).map(|leg| leg.number)
    };
    picture
        .stand
        .entries
        .iter()
        .filter_map(|entry| match &entry.says {
            Observed::Spray(spray) => Some(Sprayed {
                at: entry.at,
                finished_at: spray.finished_at,
                material: material(picture.plan, &spray.material),
                ended: ended(entry.id),
            }),
            _ => None,
        })
        .collect()
}

/// A material's name for people; its id where it has none here.
pub(super) fn material(plan: &Plan, id: &str) -> String {
    plan.materials
        .iter()
        .find(|material| material.id == id)
        .map_or_else(|| id.to_owned(), |known| known.name.clone())
}

/// The material that the plan has for a leg.
pub(super) fn planned(plan: &Plan, leg: &Leg) -> Option<String> {
    let index = leg.number.checked_sub(1)?;
    let planned = match (leg.ended_by, leg.ended_at) {
        (Some(EndedBy::Spray), Some(at)) => plan.when_sprayed(index, at),
        _ => plan.sprays.get(index),
    };
    planned.map(|spray| material(plan, &spray.material))
}

/// Every event of the season, by time.
pub(super) fn all(picture: &SeasonPicture<'_>) -> Vec<Fact> {
    let mut facts: Vec<Fact> = picture
        .counts()
        .iter()
        .map(|count| Fact {
            at: count.at,
            what: "Open flowers counted".to_owned(),
            detail: format!("{} a tree, {}", told::flowers(count.mean), trees(count.trees)),
        })
        .collect();
    facts.extend(start(picture));
    for leg in &picture.season.legs {
        facts.extend(mark(picture, leg));
    }
    if let Some(beside) = &picture.beside {
        for leg in &beside.season.legs {
            facts.extend(mark_beside(beside.curve, leg));
        }
    }
    facts.extend(sprays(picture).iter().map(|spray| sprayed(picture, spray)));
    facts.extend(picture.season.legs.last().and_then(|leg| end(picture, leg)));
    facts.sort_by_key(|fact| fact.at);
    facts
}

fn trees(count: usize) -> String {
    if count == 1 { "one tree".to_owned() } else { format!("mean of {count} trees") }
}

fn start(picture: &SeasonPicture<'_>) -> Option<Fact> {
    let start = picture.season.start?;
    let zone = picture.plan.zone;
    let threshold = told::flowers(picture.plan.threshold());
    let (what, mut detail) = match start.basis {
        Basis::Logged => ("Clock started", format!("{threshold} open flowers a tree, as logged")),
        Basis::BetweenCounts => {
            ("Clock started", format!("{threshold} open flowers a tree, from the counts"))
        }
        Basis::NoLaterThan => (
            "Clock started by then",
            format!("the first count already had {threshold} open flowers a tree or more"),
        ),
        Basis::Expected => {
            ("Start expected", format!("{threshold} open flowers a tree, from counts and forecast"))
        }
    };
    if let (Basis::BetweenCounts, Some(early), Some(late)) = (start.basis, start.earliest, start.latest) {
        detail.push_str(&format!("; 90 % within {}", told::stretch(early, late, zone)));
    }
    Some(Fact { at: start.at, what: what.to_owned(), detail })
}

fn mark(picture: &SeasonPicture<'_>, leg: &Leg) -> Option<Fact> {
    let (zone, number) = (picture.plan.zone, leg.number);
    let share = told::percent(leg.mark?);
    let material = planned(picture.plan, leg).unwrap_or_default();
    let bound = told::bound(leg.bound);
    if let Some(at) = leg.reached_at {
        let mut detail = format!("{share} of the style; {material}, {bound} this");
        if let (Some(early), Some(late)) = (leg.reached_earliest, leg.reached_latest)
            && early < late
        {
            detail.push_str(&format!("; between {}", told::stretch(early, late, zone)));
        }
        return Some(Fact { at, what: format!("Leg {number}: mark reached"), detail });
    }
    if let Some(at) = leg.may_be_reached_since {
        let detail = format!("{share} of the style at most, as hours are unknown; {material}");
        return Some(Fact { at, what: format!("Leg {number}: mark may be reached"), detail });
    }
    leg.expected_at.map(|at| Fact {
        at,
        what: format!("Leg {number}: mark expected"),
        detail: format!("{share} of the style on the forecast; {material}, {bound} this"),
    })
}

fn mark_beside(curve: &str, leg: &Leg) -> Option<Fact> {
    let share = told::percent(leg.mark?);
    let (at, word) = match (leg.reached_at, leg.expected_at) {
        (Some(at), _) => (at, "reached"),
        (None, Some(at)) => (at, "expected"),
        (None, None) => return None,
    };
    Some(Fact {
        at,
        what: format!("Leg {}: mark {word} on curve {curve}", leg.number),
        detail: format!("{share} of the style, for comparison only"),
    })
}

fn sprayed(picture: &SeasonPicture<'_>, spray: &Sprayed) -> Fact {
    let finish = match spray.finished_at {
        Some(finish) => format!(", finished {}", told::when(finish, picture.plan.zone)),
        None => ", no finish logged".to_owned(),
    };
    let leg = spray.ended.and_then(|number| picture.season.legs.iter().find(|leg| leg.number == number));
    let (what, effect) = match leg {
        Some(leg) => {
            let came = told::progress(leg.progress_low);
            (format!("Spray {}", leg.number), format!("leg {} ends at {came} of the style", leg.number))
        }
        None => ("Spray, clock runs on".to_owned(), "resets nothing".to_owned()),
    };
    Fact { at: spray.at, what, detail: format!("{}{finish}; {effect}", spray.material) }
}

/// How the season ended, or how far its last leg came.
fn end(picture: &SeasonPicture<'_>, leg: &Leg) -> Option<Fact> {
    let came = format!("leg {} came to {} of the style", leg.number, told::progress(leg.progress_low));
    let (at, what) = match (leg.ended_by, leg.ended_at) {
        (Some(EndedBy::Spray), _) => return None,
        (Some(EndedBy::BloomEnd), Some(at)) => (at, "Bloom over"),
        (Some(EndedBy::StandDown), Some(at)) => (at, "Decided not to thin"),
        (Some(EndedBy::Age), Some(at)) => (at, "Closed, nothing more logged"),
        _ => (picture.season.as_of?, "Last reading"),
    };
    Some(Fact { at, what: what.to_owned(), detail: came })
}
