//! The weather ahead of one site as equally likely courses.

use std::sync::Arc;

use super::errors::Errors;
use super::members::{self, Member};
use super::noise::Dealer;
use super::rank;
use super::tubes::Tubes;
use crate::block::Offset;
use crate::curve::Curve;
use crate::growth::{Course, degrees_along};
use crate::season::Note;
use crate::series::Reading;
use crate::site::Place;
use crate::sun::Sun;
use crate::time::{DAY, HOUR, Instant};

/// Most members that an ensemble may have (the largest in use have some 100).
pub const MOST_MEMBERS: usize = 200;
/// Fewest members that are taken for an ensemble; fewer say nothing of spread.
pub const FEWEST_MEMBERS: usize = 5;
/// Courses that a single forecast is dressed as.
pub const DRESSED: usize = 128;
/// Farthest ahead that odds look.
pub const FARTHEST: i64 = 16 * DAY;
/// A forecast older than this is said to be old. Its lead is counted from its issue, so
/// that it is the wider for it; an ensemble, too, then spreads at least as forecasts of
/// such a lead are off.
pub const OLD: i64 = 24 * HOUR;
/// A forecast older than this is not used: by then several newer ones have been
/// missed (constructed).
pub const TOO_OLD: i64 = 72 * HOUR;
/// Issues that an ensemble's own errors must be learned from before it is corrected.
pub const FEWEST_ISSUES: usize = 10;

/// A forecast as members, each a course of temperature; a single forecast is one.
#[derive(Debug, Clone, Copy)]
pub struct Foretold<'a> {
    /// When it was issued.
    pub issued_at: Instant,
    /// Hours of each member, °C: instants, or means that are taken to stand in the
    /// middle of what they cover. What is missing or no number is left out.
    pub members: &'a [Vec<Reading>],
}

/// Why no odds can be had from a forecast.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// There is no reading to go on from.
    #[error("No odds: nothing was read here yet that a forecast could go on from.")]
    NothingRead,
    /// The forecast has no usable hour after the last reading.
    #[error("No odds: the forecast has no hour after the last reading.")]
    Empty,
    /// Its first hour comes too long after the last reading.
    #[error(
        "No odds: the forecast begins {hours} hours after the last reading, and nothing is known between."
    )]
    Hole {
        /// Hours between.
        hours: i64,
    },
    /// It is too old.
    #[error("No odds: the newest forecast is {hours} hours old, and none older than 72 hours is used.")]
    TooOld {
        /// Its age.
        hours: i64,
    },
    /// It was issued after the moment of asking.
    #[error("No odds: the forecast is from the future; look at the clocks.")]
    NotYet,
    /// Too few members are complete enough.
    #[error(
        "No odds: only {members} members of the ensemble can be used, and 5 are needed to tell its spread."
    )]
    FewMembers {
        /// How many can be used.
        members: usize,
    },
    /// More members than are taken.
    #[error("No odds: the ensemble has {members} members, and at most 200 are taken.")]
    ManyMembers {
        /// How many it has.
        members: usize,
    },
}

/// From this share of members on frost counts as forecast.
pub const CHANCE: f64 = 0.1;

/// How likely it gets cold, by the members of an ensemble.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cold {
    /// Share of members that come to the line or below.
    pub chance: f64,
    /// When as many as [`CHANCE`] of all have come to it; none where fewer do.
    pub from: Option<Instant>,
    /// One in ten gets at least so cold, °C.
    pub tenth_c: f64,
    /// When.
    pub tenth_at: Instant,
}

/// Equally likely courses of temperature at one site after its last reading, with
/// their sums. All of its seasons share it. Knots are the last reading and each whole
/// hour after it; the course after the last member is the mean of all.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The last reading.
    as_of: Instant,
    issued_at: Instant,
    members: usize,
    /// Whether they were foretold as several.
    ensemble: bool,
    /// Knots of each course.
    knots: usize,
    /// Seconds from the first knot to the second.
    first: i64,
    /// Course by course, °C.
    celsius: Vec<f64>,
    /// Course by course, degree units since the first knot.
    degrees: Vec<i64>,
    notes: Vec<Note>,
}

impl Outlook {
    /// The outlook from a forecast on the course of a site. A single forecast is
    /// dressed with `errors`; an ensemble is shifted by what its mean was off, and
    /// widened where it spreads less than it was off, once they were learned from
    /// [`FEWEST_ISSUES`] or it is older than [`OLD`]. The order of members does not
    /// matter.
    ///
    /// # Errors
    /// What is wrong with the forecast.
    pub fn new(
        course: &Course,
        foretold: &Foretold<'_>,
        errors: &Errors,
        now: Instant,
    ) -> Result<Outlook, Fault> {
        let as_of = course.as_of().ok_or(Fault::NothingRead)?;
        let age = now.since(foretold.issued_at);
        let given = foretold.members.len();
        match given {
            _ if age < 0 => return Err(Fault::NotYet),
            _ if age > TOO_OLD => return Err(Fault::TooOld { hours: age / HOUR }),
            0 => return Err(Fault::Empty),
            members @ 2..FEWEST_MEMBERS => return Err(Fault::FewMembers { members }),
            members if members > MOST_MEMBERS => return Err(Fault::ManyMembers { members }),
            _ => {}
        }
        let mut notes = Vec::new();
        if age > OLD {
            let hours = age / HOUR;
            let text = format!("The forecast is {hours} hours old: the odds are wider for it.");
            notes.push(Note::new("old-forecast", text));
        }
        let last = course.celsius(as_of);
        let courses: Vec<Member> =
            foretold.members.iter().map(|hours| Member::new(hours, as_of, last)).collect();
        let (kept, end) = members::long_enough(&courses, as_of)?;
        if kept.len() < given {
            let left = given - kept.len();
            let text =
                format!("{left} of {given} members of the forecast end early or have holes: left out.");
            notes.push(Note::new("members-left-out", text));
        }
        let end = end.min(as_of.plus(FARTHEST));
        let begin = (as_of.0.div_euclid(HOUR) + 1) * HOUR;
        let hours = (end.0 - begin).div_euclid(HOUR) + 1;
        if hours < 1 {
            return Err(Fault::Empty);
        }
        let mut outlook = Outlook {
            as_of,
            issued_at: foretold.issued_at,
            members: kept.len(),
            ensemble: kept.len() > 1,
            knots: hours as usize + 1,
            first: begin - as_of.0,
            celsius: Vec::new(),
            degrees: Vec::new(),
            notes,
        };
        let knots = || (0..outlook.knots).map(|knot| outlook.at(knot));
        let mut rows = members::in_order(kept.iter().map(|member| member.celsius(knots())).collect());
        if rows.len() == 1 || errors.issues >= FEWEST_ISSUES || age > OLD {
            let off = members::off_now(course, &kept, foretold.issued_at, errors);
            outlook.correct(&mut rows, errors, off);
            rows = members::in_order(rows);
        }
        outlook.members = rows.len();
        rows.push(members::mean(&rows));
        outlook.celsius = rows.concat();
        outlook.sum();
        Ok(outlook)
    }

    /// The same air as a block has it that lies warmer or colder than its site.
    #[must_use]
    pub fn at_block(mut self, offset: &Offset, place: &Place) -> Outlook {
        let sun = Sun::at(place.latitude, place.longitude);
        let shifts: Vec<f64> = (0..self.knots).map(|knot| offset.celsius(sun.is_up(self.at(knot)))).collect();
        for row in self.celsius.chunks_mut(shifts.len()) {
            row.iter_mut().zip(&shifts).for_each(|(celsius, shift)| *celsius += shift);
        }
        self.sum();
        self
    }

    /// Growth of the tubes on one curve over all its courses.
    pub fn on(&self, curve: &Arc<Curve>) -> Tubes {
        Tubes::new(curve.clone(), self.celsius.chunks(self.knots), self.first)
    }

    /// The last reading, from which it goes on.
    pub fn as_of(&self) -> Instant {
        self.as_of
    }

    /// When its forecast was issued.
    pub fn issued_at(&self) -> Instant {
        self.issued_at
    }

    /// Its courses.
    pub fn members(&self) -> usize {
        self.members
    }

    /// How likely it gets so cold between two moments, where the forecast has members
    /// and reaches into the time asked of.
    pub fn cold(&self, from: Instant, until: Instant, line_c: f64) -> Option<Cold> {
        let asked = |knot: &usize| from <= self.at(*knot) && self.at(*knot) <= until;
        let knots: Vec<usize> = (0..self.knots).filter(asked).collect();
        if !self.ensemble || knots.is_empty() {
            return None;
        }
        let rows = || self.celsius.chunks(self.knots).take(self.members);
        let lowest = |row: &[f64]| {
            let least = knots.iter().min_by(|a, b| row[**a].total_cmp(&row[**b]));
            least.map(|knot| (row[*knot], self.at(*knot)))
        };
        let mut coldest: Vec<(f64, Instant)> = rows().filter_map(lowest).collect();
        coldest.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let tenth = coldest[rank(CHANCE, coldest.len())];
        let cold = coldest.iter().filter(|(celsius, _)| *celsius <= line_c).count();
        let mut first: Vec<Instant> = rows()
            .filter_map(|row| knots.iter().find(|knot| row[**knot] <= line_c).map(|knot| self.at(*knot)))
            .collect();
        first.sort_unstable();
        Some(Cold {
            chance: cold as f64 / coldest.len() as f64,
            from: first.get(rank(CHANCE, coldest.len())).copied(),
            tenth_c: tenth.0,
            tenth_at: tenth.1,
        })
    }

    /// The last hour that it reaches to.
    pub fn horizon(&self) -> Instant {
        self.at(self.knots - 1)
    }

    /// What is to be said of it.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Degree units of one course, the mean of all for the one after the last.
    pub(super) fn degrees(&self, member: usize) -> &[i64] {
        &self.degrees[member * self.knots..][..self.knots]
    }

    /// Seconds from the first knot to the second.
    pub(super) fn first(&self) -> i64 {
        self.first
    }

    fn at(&self, knot: usize) -> Instant {
        match knot {
            0 => self.as_of,
            _ => self.as_of.plus(self.first + (knot as i64 - 1) * HOUR),
        }
    }

    fn sum(&mut self) {
        self.degrees.clear();
        for row in self.celsius.chunks(self.knots) {
            degrees_along(row, self.first, &mut self.degrees);
        }
    }

    /// Shifts courses by what is known of their errors and gives each so much error
    /// of its own that together they spread as forecasts were off. `off` is by how many
    /// spreads the forecast is off now.
    fn correct(&self, rows: &mut Vec<Vec<f64>>, errors: &Errors, off: Option<f64>) {
        let spreads = members::spreads(rows);
        if rows.len() == 1 {
            let one = rows[0].clone();
            rows.resize(DRESSED, one);
        }
        let mut dealer = Dealer::new(rows.len(), self.issued_at.0);
        // Where it is known how far the forecast is off now, all courses begin there.
        let mut own: Vec<f64> = if off.is_some() { vec![0.0; rows.len()] } else { dealer.deal().to_vec() };
        for knot in 1..self.knots {
            let lead = self.at(knot).since(self.issued_at);
            let hours = self.at(knot).since(self.as_of) as f64 / HOUR as f64;
            let step = self.at(knot).since(self.at(knot - 1)) as f64 / HOUR as f64;
            let spread = errors.spread_c(lead);
            let shift = errors.bias_c(lead) + spread * off.unwrap_or(0.0) * libm::pow(errors.carry, hours);
            let missing = libm::sqrt((spread * spread - spreads[knot] * spreads[knot]).max(0.0));
            let left = libm::pow(errors.carry, step);
            let fresh = libm::sqrt(1.0 - left * left);
            for ((own, score), row) in own.iter_mut().zip(dealer.deal()).zip(rows.iter_mut()) {
                *own = *own * left + score * fresh;
                row[knot] += shift + missing * *own;
            }
        }
    }
}
