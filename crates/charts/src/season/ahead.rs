//! What the odds say of a season: how far the picture reaches for them, and their rows.

use chrono::Days;
use model::legs::Leg;
use model::odds::{LegOdds, Odds, SeasonOdds};
use model::plan::Plan;
use model::season::Season;
use model::time::{DAY, Instant};

use super::{SeasonPicture, told};
use crate::chances;
use crate::scale::day_begins;

/// The picture follows odds so far beyond the last reading: farther out days would be
/// too narrow to read the legs by.
const FARTHEST: i64 = 7 * DAY;

/// A row of the table, and by which moment it is sorted.
pub(super) struct Row {
    pub at: Instant,
    pub when: String,
    pub what: String,
    pub detail: String,
}

/// The running leg with the odds of its mark, where that is still to come.
pub(super) fn running<'a>(season: &'a Season, odds: &'a SeasonOdds) -> Option<(&'a Leg, &'a LegOdds)> {
    let leg = season.running().filter(|leg| leg.reached_at.is_none() && leg.mark.is_some())?;
    let odds = odds.legs.iter().find(|odds| odds.number == leg.number && !odds.after_unlogged)?;
    Some((leg, odds))
}

/// End of a window that shows the late edge of the running leg's mark, or the start's
/// where no leg runs: the midnight after it, or the last one of the seven days after the
/// last reading.
pub(super) fn end(plan: &Plan, season: &Season, odds: &SeasonOdds) -> Option<Instant> {
    let as_of = season.as_of?;
    let shown = running(season, odds).map(|(_, leg)| &leg.odds).or(odds.start.as_ref())?;
    let late = shown.late.unwrap_or(shown.horizon);
    let next = late.local_date(plan.zone).checked_add_days(Days::new(1))?;
    let farthest = as_of.plus(FARTHEST).local_date(plan.zone);
    Some(day_begins(next.min(farthest), plan.zone))
}

/// Early, likely and late of the start and of each mark that is still to come.
pub(super) fn rows(picture: &SeasonPicture<'_>) -> Vec<Row> {
    let Some(odds) = picture.odds else { return Vec::new() };
    let mut rows = Vec::new();
    if let Some(start) = &odds.start {
        let threshold = told::flowers(picture.plan.threshold());
        rows.extend(points(picture, start, "Start", &format!("{threshold} open flowers a tree")));
    }
    let reached =
        |number| picture.season.legs.iter().any(|leg: &Leg| leg.number == number && leg.reached_at.is_some());
    for leg in odds.legs.iter().filter(|leg| !reached(leg.number)) {
        let mut detail = format!("{} of the style", told::percent(leg.mark));
        if leg.after_unlogged {
            detail.push_str(", if the spray before goes on at its mark");
        }
        rows.extend(points(picture, &leg.odds, &format!("Leg {}: mark", leg.number), &detail));
    }
    rows
}

fn points(picture: &SeasonPicture<'_>, odds: &Odds, what: &str, detail: &str) -> Vec<Row> {
    let moments = [odds.early, odds.likely, odds.late];
    let told = chances::points(odds, picture.plan.zone);
    let rows = moments.into_iter().zip(told).map(|(at, (name, when))| Row {
        at: at.unwrap_or(odds.horizon),
        when,
        what: format!("{what}, {}", name.to_lowercase()),
        detail: detail.to_owned(),
    });
    rows.collect()
}

/// The odds of the running leg, or of the start, in one sentence.
pub(super) fn sentence(picture: &SeasonPicture<'_>) -> Option<String> {
    let odds = picture.odds?;
    let zone = picture.plan.zone;
    if let Some((leg, leg_odds)) = running(picture.season, odds) {
        let said = chances::sentence(&leg_odds.odds, zone);
        return Some(format!("Mark of leg {}: {}", leg.number, said.replacen("In ", "in ", 1)));
    }
    let said = chances::sentence(odds.start.as_ref()?, zone);
    Some(format!("Start: {}", said.replacen("In ", "in ", 1)))
}
