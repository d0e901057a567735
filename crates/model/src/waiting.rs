//! What a season waits for: due and on hold first, then what to count, decide and
//! confirm. Nobody is asked into a block before its re-entry time.

use chrono_tz::Tz;
use serde::Serialize;

use crate::season::{MATERIALS_UNCONFIRMED, Reentry, Season, State};
use crate::time::Instant;
use crate::verdict::Advice;
use crate::words;

/// What a person is wanted for; the sooner the earlier in the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wanted {
    /// The spray is overdue.
    Overrun,
    /// The spray is due.
    Due,
    /// Frost came over the running leg.
    Hold,
    /// The mark may be reached, in hours that nobody read.
    MayBeDue,
    /// Damage is to be counted after a frost.
    Look,
    /// Open flowers are to be counted.
    Count,
    /// Whether to thin is not decided.
    Decide,
    /// A planned material is not confirmed.
    Confirm,
}

/// One thing that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Waits {
    /// What for.
    pub what: Wanted,
    /// Since when, or by when, where that can be said.
    pub at: Option<Instant>,
    /// The same in a sentence.
    pub text: String,
}

/// Until when nobody works in a block, where that lies ahead or is not recorded.
pub fn closed(reentry: Option<&Reentry>, zone: Tz, now: Instant) -> Option<String> {
    let reentry = reentry?;
    match reentry.until {
        Some(until) if until > now => Some(words::nobody_before(&until.spoken(zone))),
        Some(_) => None,
        None => Some(words::NO_REENTRY.to_owned()),
    }
}

/// What whoever is to spray has to know before: that the block is closed, on hold or
/// stood down, that nobody has decided, or that the table says otherwise.
pub fn before_spray(season: &Season, zone: Tz, now: Instant) -> Vec<String> {
    let mut said = Vec::new();
    let reentry = season.reentry.as_ref().and_then(|reentry| reentry.until).filter(|until| *until > now);
    said.extend(reentry.map(|until| words::nobody_before(&until.spoken(zone))));
    if season.hold.is_some() {
        said.push("Frost came over this leg: the flowers are to be looked at before any spray.".to_owned());
    }
    match &season.decision {
        Some(decided) if !decided.thin => said.push("It was decided not to thin this block.".to_owned()),
        Some(_) => {}
        None => said.push("Nobody has decided yet to thin this block.".to_owned()),
    }
    let verdict = &season.verdict;
    if matches!(
        verdict.verdict,
        Advice::CountFirst | Advice::Wait | Advice::StandDown | Advice::LeanStandDown
    ) {
        said.push(verdict.told());
    }
    said
}

/// What a season waits for, the soonest first.
pub fn of(season: &Season, zone: Tz, now: Instant) -> Vec<Waits> {
    let open_at = season.reentry.as_ref().and_then(|reentry| reentry.until).filter(|until| *until > now);
    // Work in the block, and from when on it may be asked for.
    let work = |what: Wanted, at: Option<Instant>, text: &str| match open_at {
        Some(until) => Waits {
            what,
            at: Some(at.map_or(until, |at| at.max(until))),
            text: format!("Not before re-entry, {}: {text}.", until.spoken(zone)),
        },
        None => Waits { what, at, text: format!("{}.", capital(text)) },
    };
    let over = matches!(season.state, State::Done | State::StoodDown);
    let mut waits = Vec::new();
    if let Some(leg) = season.running().filter(|_| !over) {
        let (number, mark) = (leg.number, leg.mark.unwrap_or_default());
        let since = leg.reached_at.map_or(String::new(), |at| format!(" since {}", at.spoken(zone)));
        match season.state {
            State::Overrun => {
                let text = format!("spray {number} is overdue: past its mark of {mark:.2}{since}");
                waits.push(work(Wanted::Overrun, leg.reached_at, &text));
            }
            State::Due => {
                let text = format!("spray {number} is due: at its mark of {mark:.2}{since}");
                waits.push(work(Wanted::Due, leg.reached_at, &text));
            }
            State::Hold => {
                let text = "on hold after frost: look at the flowers before any spray";
                waits.push(work(Wanted::Hold, season.hold.as_ref().map(|hold| hold.since), text));
            }
            _ => {
                if let Some(at) = leg.may_be_reached_since {
                    let when = at.spoken(zone);
                    let text = format!("spray {number} may be due since {when}: hours without readings");
                    waits.push(work(Wanted::MayBeDue, Some(at), &text));
                }
            }
        }
    }
    if !over && season.threshold > 0.0 {
        if let Some(night) = &season.frost.look_after
            && season.state != State::Hold
        {
            waits.push(work(Wanted::Look, None, &format!("count what is alive after {night}")));
        }
        match season.count_again_at {
            Some(at) if at <= now => waits.push(work(Wanted::Count, Some(at), "count open flowers now")),
            Some(at) => {
                let at = open_at.map_or(at, |until| at.max(until));
                let text = format!("Count open flowers {}.", at.spoken(zone));
                waits.push(Waits { what: Wanted::Count, at: Some(at), text });
            }
            None if season.counts.is_empty() && season.start.is_none() => {
                waits.push(work(Wanted::Count, None, "no open flowers are counted yet"));
            }
            None => {}
        }
        if season.decision.is_none() {
            let advice = season.verdict.verdict;
            let text = format!("to thin or not is not decided; the table says: {}", advice.spoken());
            let start = season.start.map(|start| start.at);
            // A count is work in the block; deciding is not.
            waits.push(match advice {
                Advice::CountFirst => work(Wanted::Decide, start, &text),
                _ => Waits { what: Wanted::Decide, at: start, text: format!("{}.", capital(&text)) },
            });
        }
    }
    if !over && let Some(note) = season.notes.iter().find(|note| note.code == MATERIALS_UNCONFIRMED) {
        waits.push(Waits { what: Wanted::Confirm, at: None, text: note.text.to_string() });
    }
    waits.sort_by_key(|waits| waits.what);
    waits
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
