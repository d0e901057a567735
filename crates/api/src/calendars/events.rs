//! What a season puts into a calendar: its start, the mark of each leg, when people
//! may go in again, and the next count.
//!
//! All of it follows from the season as it was reckoned and from the block's name,
//! never from the moment of asking: the same season gives the same calendar.

use chrono_tz::Tz;
use model::bloom::Basis;
use model::legs::{EndedBy, Leg};
use model::plan::MarkBound;
use model::season::{FEW_BEE_HOURS, MATERIALS_UNCONFIRMED, Season, State};
use model::time::Instant;
use model::verdict::Advice;
use model::waiting::{self, Wanted};
use model::words;

/// A season with the block it is of.
pub(super) struct Shown<'a> {
    /// The block.
    pub(super) block_id: &'a str,
    /// Its name.
    pub(super) block: &'a str,
    /// Zone of its site.
    pub(super) zone: Tz,
    /// The season.
    pub(super) season: &'a Season,
    /// When it was reckoned.
    pub(super) reckoned_at: Instant,
}

/// One entry of a calendar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Planned {
    /// The same for as long as it is about the same thing, whenever that is.
    pub(super) uid: String,
    /// When.
    pub(super) at: Instant,
    /// What kind of entry it is, in a word or two.
    pub(super) category: &'static str,
    /// The essence, on one line.
    pub(super) summary: String,
    /// The rest in sentences.
    pub(super) lines: Vec<String>,
    /// Foreseen, not yet so.
    pub(super) foreseen: bool,
}

impl Shown<'_> {
    /// Its entries. Of a season that is over none but how long the block is closed.
    pub(super) fn planned(&self) -> Vec<Planned> {
        let over = matches!(self.season.state, State::Done | State::StoodDown);
        let mut planned = Vec::new();
        if !over {
            planned.extend(self.start());
            planned.extend(self.season.legs.iter().filter_map(|leg| self.mark(leg)));
            planned.extend(self.count());
        }
        planned.extend(self.reentry(over));
        planned
    }

    fn start(&self) -> Option<Planned> {
        let start = self.season.start?;
        let foreseen = start.basis == Basis::Expected;
        let what = match start.basis {
            Basis::Expected => "bloom clock likely starts",
            Basis::NoLaterThan => "bloom clock started, at the latest",
            Basis::Logged | Basis::BetweenCounts => "bloom clock started",
        };
        let mut lines = vec![start.told(self.season.threshold, self.zone)];
        if foreseen {
            lines.extend(self.before_spray());
        }
        Some(self.entry("start", "", start.at, "Bloom start", what.to_owned(), lines, foreseen))
    }

    /// A leg's mark: foreseen, reached, or what came of it. One that the spray
    /// forestalled was never due.
    fn mark(&self, leg: &Leg) -> Option<Planned> {
        let mark = leg.mark?;
        let number = leg.number;
        let likely = leg.reached_at.or(leg.may_be_reached_since).or(leg.expected_at);
        let hold = self.season.hold.as_ref();
        let (at, what) = match (leg.reached_at, leg.may_be_reached_since) {
            (reached, _) if leg.ended_at.is_some() => (reached?, format!("mark of spray {number} reached")),
            _ if hold.is_some() => {
                let what = format!("spray {number} on hold after frost: look at the flowers first");
                (likely.or(hold.map(|hold| hold.since))?, what)
            }
            (Some(at), _) => (at, self.reached(number, at)),
            (None, Some(at)) => {
                let since = at.spoken(self.zone);
                let first = self.first().map_or(String::new(), |first| format!(" - {first}"));
                (at, format!("mark of spray {number} may be reached since {since}{first}"))
            }
            (None, None) => {
                let what = match self.first() {
                    Some(first) => format!("mark of spray {number} likely - {first}"),
                    None => format!("spray {number} likely due"),
                };
                (leg.expected_at?, what)
            }
        };
        let foreseen = leg.expected_at == Some(at);
        let side = match leg.bound {
            Some(MarkBound::NotBefore) => ", to be sprayed not before it",
            Some(MarkBound::NotAfter) => ", to be sprayed not after it",
            None => "",
        };
        let mut lines = Vec::new();
        if leg.ended_at.is_none() {
            lines.extend(self.before_spray());
        }
        if let Some(when) = leg.likely(self.zone) {
            lines
                .push(format!("Mark at {mark:.2} of the style{side}: {}.", when.trim_start_matches("mark ")));
        }
        if let Some(early) = leg.reached_earliest.filter(|_| foreseen) {
            lines.push(format!("It may have been reached as early as {}.", early.spoken(self.zone)));
        }
        match (leg.ended_at, leg.ended_by) {
            (Some(at), Some(EndedBy::Spray)) => lines.push(format!("Sprayed {}.", at.spoken(self.zone))),
            (Some(at), _) => lines.push(format!("The leg ended {}.", at.spoken(self.zone))),
            (None, _) => lines.extend(self.notes(&[FEW_BEE_HOURS, MATERIALS_UNCONFIRMED])),
        }
        Some(self.entry("mark", &leg.opened_by, at, "Spray", what, lines, foreseen))
    }

    /// A mark that is reached: the spray is due only where nothing stands before it.
    fn reached(&self, number: usize, at: Instant) -> String {
        let since = at.spoken(self.zone);
        let overrun = self.season.state == State::Overrun;
        match (self.first(), overrun) {
            (None, false) => format!("spray {number} due since {since}"),
            (None, true) => format!("spray {number} overdue since {since}"),
            (Some(first), false) => format!("at the mark of spray {number} since {since} - {first}"),
            (Some(first), true) => format!("past the mark of spray {number} since {since} - {first}"),
        }
    }

    /// What stands before a spray, in a few words, as mails have it.
    fn first(&self) -> Option<String> {
        let season = self.season;
        let closed = season.reentry.as_ref().and_then(|reentry| reentry.until);
        if let Some(until) = closed.filter(|until| *until > self.reckoned_at) {
            return Some(format!("closed for re-entry until {}", until.spoken(self.zone)));
        }
        let first = match season.verdict.verdict {
            Advice::CountFirst => "count damage first",
            _ if season.decision.is_none() => "decide first",
            Advice::StandDown => "the table says stand down",
            Advice::Wait => "frost is forecast: wait",
            _ => return None,
        };
        Some(first.to_owned())
    }

    fn count(&self) -> Option<Planned> {
        let waits = waiting::of(self.season, self.zone, self.reckoned_at);
        let count = waits.into_iter().find(|waits| waits.what == Wanted::Count)?;
        let what = "count open flowers".to_owned();
        Some(self.entry("count", "", count.at?, "Count", what, vec![count.text], true))
    }

    /// When the block is open again. Where that was not recorded there is no time for
    /// it, and [`Shown::before_spray`] says so.
    fn reentry(&self, over: bool) -> Option<Planned> {
        let reentry = self.season.reentry.as_ref().filter(|reentry| !over || reentry.closed)?;
        let until = reentry.until?;
        let what = format!("nobody works in the block before {}", until.spoken(self.zone));
        let lines = vec![format!("Re-entry after the spray of {}.", reentry.material)];
        Some(self.entry("re-entry", &reentry.entry, until, "Re-entry", what, lines, false))
    }

    /// What whoever is to spray has to know before, and that no re-entry time is known.
    fn before_spray(&self) -> Vec<String> {
        let mut lines = waiting::before_spray(self.season, self.zone, self.reckoned_at);
        let unknown = self.season.reentry.as_ref().filter(|reentry| reentry.until.is_none());
        lines.extend(unknown.map(|_| words::NO_REENTRY.to_owned()));
        lines
    }

    fn notes(&self, codes: &[&str]) -> Vec<String> {
        let notes = self.season.notes.iter().filter(|note| codes.contains(&note.code.as_ref()));
        notes.map(|note| note.text.to_string()).collect()
    }

    #[expect(clippy::too_many_arguments, reason = "an entry has so many parts")]
    fn entry(
        &self,
        kind: &str,
        key: &str,
        at: Instant,
        category: &'static str,
        what: String,
        mut lines: Vec<String>,
        foreseen: bool,
    ) -> Planned {
        let read =
            self.season.as_of.map_or("none yet".to_owned(), |at| format!("up to {}", at.spoken(self.zone)));
        let reckoned = self.reckoned_at.spoken(self.zone);
        let zone = self.zone.name();
        lines.push(format!("Reckoned {reckoned}; readings: {read}. Times in this text are {zone}."));
        lines.extend([words::CAUTION.to_owned(), words::NOT_THE_ALERT.to_owned()]);
        let key = if key.is_empty() { String::new() } else { format!(".{key}") };
        Planned {
            uid: format!("{}.{}.{kind}{key}@bloomtide", self.block_id, self.season.year),
            at,
            category,
            summary: format!("{}: {what}", self.block),
            lines,
            foreseen,
        }
    }
}
