//! The small fan of one row of a region's board, on a time axis that all rows share.
//!
//! A board has hundreds of rows, so a row's picture is kept to some hundred bytes, and
//! [`row`] is for a page whose words beside it say the same; [`picture`] stands by itself.

use chrono_tz::Tz;
use model::odds::Odds;
use model::sun::Sun;
use model::time::Instant;

use crate::chances;
use crate::nights::nights;
use crate::scale::TimeAxis;

mod drawn;
mod pen;

/// Width of a row and of its axis, px.
pub const WIDTH: u32 = 320;
/// Height of a row and of its axis, px.
pub const HEIGHT: u32 = 36;

/// The time axis of a board.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    from: Instant,
    to: Instant,
    now: Instant,
    zone: Tz,
    nights: Vec<(Instant, Instant)>,
}

impl Axis {
    /// From one moment to another that is later, with the days of a zone. An axis
    /// without any time is taken to be an hour long.
    pub fn new(from: Instant, to: Instant, now: Instant, zone: Tz) -> Axis {
        let to = to.max(from.plus(model::time::HOUR));
        Axis { from, to, now, zone, nights: Vec::new() }
    }

    /// The same with the hours shaded in which the sun is down.
    pub fn with_nights(mut self, sun: &Sun) -> Axis {
        self.nights = nights(sun, self.from, self.to);
        self
    }

    fn time(&self) -> TimeAxis {
        TimeAxis { from: self.from, to: self.to, left: 0.0, right: f64::from(WIDTH) }
    }
}

/// What a row shows; all of it may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Row<'a> {
    /// When the mark will be reached.
    pub odds: Option<&'a Odds>,
    /// When it was reached on readings.
    pub reached_at: Option<Instant>,
    /// When the spray of that mark went on.
    pub sprayed_at: Option<Instant>,
}

/// The header above the rows: the days' names and the word of the line for now. An SVG
/// of 320 px by 36 px.
pub fn axis(axis: &Axis) -> String {
    drawn::header(axis)
}

/// A row's fan for an HTML page that says the same in words beside it: hidden from
/// screen readers, without title, and without the name space that HTML implies. 320 px
/// by 36 px, some 900 bytes on an axis of a week.
pub fn row(axis: &Axis, row: &Row<'_>) -> String {
    drawn::row(axis, row, None)
}

/// The same by itself, an SVG with title and description.
pub fn picture(axis: &Axis, name: &str, row: &Row<'_>) -> String {
    drawn::row(axis, row, Some((name, &told(row, axis.zone))))
}

/// What a row shows, in words.
pub fn told(row: &Row<'_>, zone: Tz) -> String {
    let mut said = Vec::new();
    said.extend(row.reached_at.map(|at| format!("Mark reached {}.", at.spoken(zone))));
    said.extend(row.sprayed_at.map(|at| format!("Sprayed {}.", at.spoken(zone))));
    match row.odds {
        Some(odds) => said.push(chances::sentence(odds, zone)),
        None if said.is_empty() => said.push("No odds.".to_owned()),
        None => {}
    }
    said.join(" ")
}

/// The rows as a table: a row of headings, then one row a block; `-` for what is not
/// known.
pub fn table(axis: &Axis, rows: &[(&str, Row<'_>)]) -> Vec<Vec<String>> {
    let [early, likely, late] = chances::POINTS;
    let heading = ["Block", early, likely, late, "Reached", "Sprayed"].map(str::to_owned).to_vec();
    let none = || "-".to_owned();
    let spoken = |at: Option<Instant>| at.map_or_else(none, |at| at.spoken(axis.zone));
    let rows = rows.iter().map(|(name, row)| {
        let points = row.odds.map(|odds| chances::points(odds, axis.zone).map(|(_, when)| when));
        let mut cells = vec![(*name).to_owned()];
        cells.extend(points.unwrap_or_else(|| [none(), none(), none()]));
        cells.extend([spoken(row.reached_at), spoken(row.sprayed_at)]);
        cells
    });
    std::iter::once(heading).chain(rows).collect()
}
