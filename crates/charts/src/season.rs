//! A real season of one block: air temperature, open flowers, and how far the
//! tubes came in each leg, with every spray.

use chrono::Days;
use model::bloom::Count;
use model::field_log::{FieldLog, Stand};
use model::growth::Growth;
use model::legs::EndedBy;
use model::odds::SeasonOdds;
use model::plan::Plan;
use model::season::{Counted, Season};
use model::time::{DAY, HOUR, Instant};
use model::timeline::{Moment, timeline};

use crate::scale::day_begins;

mod ahead;
mod air;
mod facts;
mod flowers;
mod frame;
mod told;
mod tubes;

pub use told::state;

/// Counts longer than this before the start are left out of the picture: they
/// only push the sprays together.
const BEFORE_START: i64 = 4 * DAY;
/// How much of a leg is shown when nothing closes it.
const OPEN_LEG: i64 = 2 * DAY;
/// How much of a running leg is shown at most.
const LONGEST_LEG: i64 = 7 * DAY;
/// Room behind a moment that carries a label.
const ROOM: i64 = 12 * HOUR;

/// What a picture of one season shows.
#[derive(Debug, Clone)]
pub struct SeasonPicture<'a> {
    /// The block with its curve, zone, sprays and materials.
    pub plan: &'a Plan,
    /// The season as reckoned.
    pub season: &'a Season,
    /// What stands of its field log: counts and sprays.
    pub stand: Stand<'a>,
    /// Begin of the time axis.
    pub from: Instant,
    /// End of the time axis. Where it is not later than `from` there is
    /// nothing to draw, and the picture says so.
    pub to: Instant,
    /// The season hour by hour between `from` and `to`.
    pub moments: Vec<Moment>,
    /// The same season on another curve, drawn thinner beside it.
    pub beside: Option<Beside<'a>>,
    /// The odds of what is still to come, drawn as a fan and told in the table.
    pub odds: Option<&'a SeasonOdds>,
}

/// A season on a second curve.
#[derive(Debug, Clone)]
pub struct Beside<'a> {
    /// Id of the curve.
    pub curve: &'a str,
    /// The season as reckoned on it.
    pub season: &'a Season,
    /// That season hour by hour.
    pub moments: Vec<Moment>,
}

impl<'a> SeasonPicture<'a> {
    /// The picture of a season over the [`window`] that shows what happened.
    /// `growth` and `now` are those that it was reckoned with.
    pub fn new(
        plan: &'a Plan,
        field_log: &'a FieldLog,
        growth: &Growth,
        season: &'a Season,
        now: Instant,
    ) -> SeasonPicture<'a> {
        let stand = field_log.stand(now);
        let (from, to) = window(plan, season).unwrap_or((now, now));
        SeasonPicture {
            plan,
            season,
            stand,
            from,
            to,
            moments: timeline(plan, field_log, growth, season, from, to),
            beside: None,
            odds: None,
        }
    }

    /// The same picture with the odds of what is still to come, and over as much more
    /// time as shows the late edge, at most seven days after the last reading. To stand
    /// before [`SeasonPicture::beside`], whose moments fill the same time. `field_log`
    /// and `growth` are those of [`SeasonPicture::new`].
    pub fn with_odds(
        mut self,
        field_log: &FieldLog,
        growth: &Growth,
        odds: &'a SeasonOdds,
    ) -> SeasonPicture<'a> {
        self.odds = Some(odds);
        let end = ahead::end(self.plan, self.season, odds).filter(|end| *end > self.to);
        if let Some(end) = end.filter(|_| self.from < self.to) {
            self.to = end;
            self.moments = timeline(self.plan, field_log, growth, self.season, self.from, self.to);
        }
        self
    }

    /// The same picture with the season on a second curve beside it, over the
    /// same time. `season` is the same plan and log reckoned with `growth`.
    pub fn beside(
        mut self,
        field_log: &FieldLog,
        growth: &'a Growth,
        season: &'a Season,
    ) -> SeasonPicture<'a> {
        let moments = timeline(self.plan, field_log, growth, season, self.from, self.to);
        self.beside = Some(Beside { curve: &growth.curve().id, season, moments });
        self
    }

    /// Those of the moments that lie on the time axis.
    fn drawn(&self) -> Vec<Moment> {
        self.moments.iter().filter(|moment| self.from <= moment.at && moment.at <= self.to).copied().collect()
    }

    /// Counts of open flowers, by time.
    fn counts(&self) -> Vec<Count> {
        counts(self.season)
    }
}

fn counts(season: &Season) -> Vec<Count> {
    let count = |seen: &Counted| Count {
        at: seen.at,
        mean: seen.live_open_per_tree,
        trees: seen.trees,
        error: seen.error,
    };
    season.counts.iter().map(count).collect()
}

/// The local days from the counts that lead to the start until after the last
/// spray or mark; the last three days of readings when nothing was logged.
/// `None` when there is neither.
pub fn window(plan: &Plan, season: &Season) -> Option<(Instant, Instant)> {
    let counts: Vec<Instant> = counts(season).iter().map(|count| count.at).collect();
    let mut begins: Vec<Instant> = Vec::new();
    let mut ends: Vec<Instant> = counts.clone();
    if let Some(start) = &season.start {
        let first = start.earliest.unwrap_or(start.at);
        begins.push(first);
        begins.extend(counts.first().map(|at| (*at).max(start.at.plus(-BEFORE_START))));
        ends.extend([start.latest.unwrap_or(start.at).plus(ROOM)]);
    } else {
        begins.extend(counts.first());
    }
    for leg in &season.legs {
        let marks = [leg.reached_at, leg.expected_at, leg.may_be_reached_since];
        ends.extend(marks.into_iter().flatten().map(|at| at.plus(ROOM)));
        ends.push(match (leg.ended_at, leg.ended_by) {
            (Some(end), Some(by)) if by != EndedBy::Age => end.min(leg.from.plus(LONGEST_LEG)),
            _ if leg.mark.is_none() => leg.from.plus(OPEN_LEG),
            _ => season.as_of.unwrap_or(leg.from).clamp(leg.from, leg.from.plus(LONGEST_LEG)),
        });
    }
    let (from, to) = match (begins.into_iter().min(), ends.into_iter().max()) {
        (Some(from), Some(to)) => (from, to),
        _ => season.as_of.map(|as_of| (as_of.plus(-3 * DAY), as_of))?,
    };
    let begin = day_begins(from.local_date(plan.zone), plan.zone);
    let next = to.plus(-1).local_date(plan.zone).checked_add_days(Days::new(1))?;
    Some((begin, day_begins(next, plan.zone)))
}

/// The picture as an SVG document of 1000 px by 640 px, ending in a newline.
pub fn picture(picture: &SeasonPicture<'_>) -> String {
    let mut canvas = frame::open(picture);
    match frame::time_axis(picture) {
        Some(time) => {
            frame::days(&mut canvas, picture, &time);
            air::draw(&mut canvas, picture, &time);
            flowers::draw(&mut canvas, picture, &time);
            tubes::draw(&mut canvas, picture, &time);
        }
        None => frame::nothing(&mut canvas),
    }
    frame::close(canvas)
}

/// The facts of the picture as a table for the text below it: a row of
/// headings (when, what, detail), then one row an event by time, times on the
/// block's wall clock, odds as exact as they are known. What lies outside the drawn window
/// stands here too.
pub fn table(picture: &SeasonPicture<'_>) -> Vec<Vec<String>> {
    let heading = ["When", "What", "Detail"].map(str::to_owned).to_vec();
    let zone = picture.plan.zone;
    let facts = facts::all(picture).into_iter();
    let mut rows: Vec<(Instant, Vec<String>)> =
        facts.map(|fact| (fact.at, vec![told::when(fact.at, zone), fact.what, fact.detail])).collect();
    let ahead = ahead::rows(picture).into_iter();
    rows.extend(ahead.map(|row| (row.at, vec![row.when, row.what, row.detail])));
    rows.sort_by_key(|(at, _)| *at);
    std::iter::once(heading).chain(rows.into_iter().map(|(_, row)| row)).collect()
}
