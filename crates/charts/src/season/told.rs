//! Times, shares and the description in words.

use chrono_tz::Tz;
use model::bloom::{Basis, Start};
use model::plan::MarkBound;
use model::season::State;
use model::time::Instant;

use super::SeasonPicture;
use super::ahead;
use super::facts::{self, Sprayed};

/// A moment on the wall clock of a zone.
pub(super) fn when(at: Instant, zone: Tz) -> String {
    at.spoken(zone)
}

/// From one moment to another; the day is said once where it is the same.
pub(super) fn stretch(from: Instant, to: Instant, zone: Tz) -> String {
    if from == to {
        return when(from, zone);
    }
    if from.local_date(zone) == to.local_date(zone) {
        return format!("{}–{}", when(from, zone), to.utc().with_timezone(&zone).format("%H:%M"));
    }
    format!("{} – {}", when(from, zone), when(to, zone))
}

/// A share as per cent: whole, with one decimal where the mark has one.
pub(super) fn percent(share: f64) -> String {
    let tenths = (share * 1000.0).round();
    if tenths % 10.0 == 0.0 { format!("{:.0} %", share * 100.0) } else { format!("{:.1} %", share * 100.0) }
}

/// A share of progress, to the whole per cent and never rounded up, so that
/// 100 % means that it was reached.
pub(super) fn progress(share: f64) -> String {
    format!("{:.0} %", (share * 100.0 + 1e-9).floor())
}

/// Flowers on a tree: whole, with one decimal below ten.
pub(super) fn flowers(mean: f64) -> String {
    if mean < 10.0 && mean.fract() != 0.0 { format!("{mean:.1}") } else { format!("{mean:.0}") }
}

/// Which side of its mark a spray must stay on.
pub(super) fn bound(bound: Option<MarkBound>) -> &'static str {
    bound.map_or("at", MarkBound::spoken)
}

/// Where a season stands, for people.
pub fn state(state: State) -> &'static str {
    match state {
        State::Watching => "waiting for open flowers",
        State::Growing => "tubes growing",
        State::Due => "spray due",
        State::Overrun => "spray overdue",
        State::Hold => "frost: look at the flowers first",
        State::Done => "season over",
        State::StoodDown => "not thinned this year",
    }
}

/// What is known of the start, in two words or three.
pub(super) fn start(start: &Start) -> &'static str {
    match start.basis {
        Basis::Logged => "clock starts (logged)",
        Basis::BetweenCounts => "clock starts",
        Basis::NoLaterThan => "clock starts by",
        Basis::Expected => "start expected",
    }
}

/// Heading of the picture.
pub(super) fn title(picture: &SeasonPicture<'_>) -> String {
    let block = &picture.plan.block;
    format!("{} ({}), bloom {}", block.name, block.cultivar, picture.season.year)
}

/// What happened, with its times, in plain sentences.
pub(super) fn description(picture: &SeasonPicture<'_>) -> String {
    let (plan, season) = (picture.plan, picture.season);
    let zone = plan.zone;
    let block = &plan.block;
    let mut told = format!("{}, {}, {}: {}.", block.name, block.cultivar, season.year, state(season.state));
    let threshold = flowers(plan.threshold());
    match &season.start {
        None => told.push_str(" The clock has not started."),
        Some(start) if start.basis == Basis::Expected => {
            told.push_str(&format!(
                " {threshold} open flowers a tree are expected on {}.",
                when(start.at, zone)
            ));
        }
        Some(start) => {
            let by = if start.basis == Basis::NoLaterThan { "by" } else { "on" };
            told.push_str(&format!(
                " Open flowers reached {threshold} a tree {by} {}.",
                when(start.at, zone)
            ));
        }
    }
    let sprays = facts::sprays(picture);
    for leg in &season.legs {
        let number = leg.number;
        if let (Some(mark), Some(at)) = (leg.mark, leg.reached_at) {
            told.push_str(&format!(
                " Leg {number} reached {} of the style on {}.",
                percent(mark),
                when(at, zone)
            ));
        } else if let (Some(mark), Some(at)) = (leg.mark, leg.may_be_reached_since) {
            let mark = percent(mark);
            told.push_str(&format!(" Leg {number} may have been at {mark} since {}.", when(at, zone)));
        } else if let (Some(mark), Some(at)) = (leg.mark, leg.expected_at) {
            let mark = percent(mark);
            told.push_str(&format!(
                " Leg {number} is expected at {mark} of the style on {}.",
                when(at, zone)
            ));
        }
        if let Some(Sprayed { at, material, .. }) = sprays.iter().find(|spray| spray.ended == Some(number)) {
            let came = progress(leg.progress_low);
            told.push_str(&format!(" {material} went on {} at {came} of the style.", when(*at, zone)));
        }
    }
    if let Some(sentence) = ahead::sentence(picture) {
        told.push_str(&format!(" {sentence}"));
    }
    if let Some(as_of) = season.as_of {
        told.push_str(&format!(" Last reading {}; times are {}.", when(as_of, zone), zone.name()));
    }
    told
}
