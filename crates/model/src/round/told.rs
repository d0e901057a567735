//! The round in words.

use chrono_tz::Tz;

use super::planned::{LeftOut, Round, Visit, Why, WhyLate};
use crate::plan::MarkBound;
use crate::time::HOUR;

fn hours(seconds: i64) -> String {
    format!("{:.1} h", seconds as f64 / HOUR as f64)
}

impl Visit {
    /// When to go, begin and finish, and how far that is from the mark.
    pub fn told(&self, zone: Tz) -> String {
        let fills = match self.fills {
            0 => String::new(),
            1 => ", 1 filling".to_owned(),
            fills => format!(", {fills} fillings"),
        };
        let edge = match (self.bound, self.mark_early, self.mark_late) {
            (MarkBound::NotBefore, _, Some(late)) if late > self.begin => {
                format!("; the mark may come as late as {}", late.spoken(zone))
            }
            (MarkBound::NotAfter, Some(early), _) if early < self.finish && self.late == 0 => {
                format!("; the mark may come as early as {}", early.spoken(zone))
            }
            _ => String::new(),
        };
        format!(
            "{}: go {}, begin {}, finish {}{fills}; {}{edge}.",
            self.block,
            self.go.spoken(zone),
            self.begin.spoken(zone),
            self.finish.spoken(zone),
            self.off_mark()
        )
    }

    /// How far it lies from its mark.
    fn off_mark(&self) -> String {
        let through = match self.flowers_late {
            Some(flowers) => format!("{flowers:.0} more flowers a tree come through"),
            None => format!("{:.2} of the style grow", self.style_late),
        };
        match (self.bound, self.early, self.late) {
            (MarkBound::NotBefore, 1.., _) => {
                format!("begins {} before its mark, where it takes wanted flowers", hours(self.early))
            }
            (MarkBound::NotBefore, _, late) => {
                format!("finished {} after its mark; {through} in that time", hours(late))
            }
            (MarkBound::NotAfter, _, 1..) => {
                let why = match self.why_late {
                    Some(WhyLate::Busy) => "the sprayers are at other blocks before",
                    _ => "neither its slots nor the way allow it sooner",
                };
                format!(
                    "cannot be finished by its mark: {} late, for {why}; {through} in that time",
                    hours(self.late)
                )
            }
            (MarkBound::NotAfter, early, _) => format!("begins {} ahead of its mark", hours(early)),
        }
    }
}

impl LeftOut {
    /// That nobody gets there, and why.
    pub fn told(&self, zone: Tz) -> String {
        let why = match self.why {
            Why::Hold { since } => {
                return format!(
                    "{} is left out: frost came over its leg {}. Look at the flowers before any spray.",
                    self.block,
                    since.spoken(zone)
                );
            }
            Why::NoArea { hectares: Some(hectares) } => {
                format!("its area of {hectares} ha is not above 0 and up to 10000")
            }
            Why::NoArea { hectares: None } => "its area is no number".to_owned(),
            Why::NoPlace => "its position is no place on the earth".to_owned(),
            Why::NoRate => "its spray per hectare is no number above 0".to_owned(),
            Why::NoPace => "its growth or its flowers through cannot be reckoned with".to_owned(),
            Why::NoMark => "when its mark is reached is not known".to_owned(),
            Why::NoSlot => "it has no slot ahead".to_owned(),
            Why::OutsideDay => "its slots lie outside the working day".to_owned(),
            Why::NoSprayer => "there is no sprayer".to_owned(),
            Why::NoCapacity => "no sprayer can be planned".to_owned(),
            Why::NoWays => "ways cannot be reckoned".to_owned(),
            Why::TooMany => format!("a round takes {} blocks at most", super::MOST_STOPS),
            Why::SlotTooShort { needs, longest } => {
                format!("the work takes {}, and its longest slot is {}", hours(needs), hours(longest))
            }
            Why::TooFar { there } => {
                format!("no sprayer can be there before {}, too late for its slots", there.spoken(zone))
            }
            Why::Busy => "in its slots the sprayers are at other blocks".to_owned(),
        };
        format!("{} cannot be reached in time: {why}.", self.block)
    }
}

impl Round {
    /// The whole round in sentences: what cannot be reached first, then each sprayer's
    /// blocks in order.
    pub fn told(&self, zone: Tz) -> Vec<String> {
        let mut told: Vec<String> = self.left_out.iter().map(|left_out| left_out.told(zone)).collect();
        told.extend(self.notes.iter().cloned());
        for run in self.runs.iter().filter(|run| !run.visits.is_empty()) {
            told.push(format!("{}:", run.sprayer));
            told.extend((1..).zip(&run.visits).map(|(n, visit)| format!("{n}. {}", visit.told(zone))));
        }
        if !self.exact {
            told.push("With so many blocks this is a good round; a better one may exist.".to_owned());
        }
        told
    }
}
