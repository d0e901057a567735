//! What waits in the blocks of one board: due and on hold first, then what to count,
//! decide and confirm. Nobody is asked into a block before its re-entry time.

use chrono_tz::Tz;
use model::season::{Reentry, Season, State};
use model::time::Instant;
use model::verdict::Advice;
use model::words;

use crate::report::UNCONFIRMED;

/// How soon something wants an eye; the sooner the earlier in the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Rank {
    Overrun,
    Due,
    Hold,
    MayBeDue,
    Look,
    Count,
    Decide,
    Confirm,
    Reckon,
}

/// What one block waits for.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Waiting {
    pub(crate) rank: Rank,
    /// One sentence each, the soonest first.
    pub(crate) lines: Vec<String>,
}

/// Until when nobody works in a block, where that lies ahead or is not recorded.
pub(crate) fn closed(reentry: Option<&Reentry>, zone: Tz, now: Instant) -> Option<String> {
    let reentry = reentry?;
    match reentry.until {
        Some(until) if until > now => {
            Some(format!("Nobody works in the block before {}.", until.spoken(zone)))
        }
        Some(_) => None,
        None => Some(words::NO_REENTRY.to_owned()),
    }
}

/// What a season waits for; none where it waits for nothing.
pub(crate) fn of(season: &Season, zone: Tz, now: Instant) -> Option<Waiting> {
    let open_at = season.reentry.as_ref().and_then(|reentry| reentry.until).filter(|until| *until > now);
    // Work in the block, and from when on it may be asked for.
    let work = |what: &str| match open_at {
        Some(until) => format!("Not before re-entry, {}: {what}.", until.spoken(zone)),
        None => format!("{}.", capital(what)),
    };
    let over = matches!(season.state, State::Done | State::StoodDown);
    let mut lines: Vec<(Rank, String)> = Vec::new();
    if let Some(leg) = season.running() {
        let mark = leg.mark.unwrap_or_default();
        let since = leg.reached_at.map_or(String::new(), |at| format!(" since {}", at.spoken(zone)));
        match season.state {
            State::Overrun => lines.push((
                Rank::Overrun,
                work(&format!("spray {} is overdue: past its mark of {mark:.2}{since}", leg.number)),
            )),
            State::Due => lines.push((
                Rank::Due,
                work(&format!("spray {} is due: at its mark of {mark:.2}{since}", leg.number)),
            )),
            State::Hold => {
                lines.push((Rank::Hold, work("on hold after frost: look at the flowers before any spray")))
            }
            _ => {
                if let Some(at) = leg.may_be_reached_since.filter(|_| !over) {
                    let what = format!(
                        "spray {} may be due since {}: hours without readings",
                        leg.number,
                        at.spoken(zone)
                    );
                    lines.push((Rank::MayBeDue, work(&what)));
                }
            }
        }
    }
    if !over && season.threshold > 0.0 {
        if let Some(night) = &season.frost.look_after
            && season.state != State::Hold
        {
            lines.push((Rank::Look, work(&format!("count what is alive after {night}"))));
        }
        match season.count_again_at {
            Some(at) if at <= now => lines.push((Rank::Count, work("count open flowers now"))),
            Some(at) => {
                let at = open_at.map_or(at, |until| at.max(until));
                lines.push((Rank::Count, format!("Count open flowers {}.", at.spoken(zone))));
            }
            None if season.counts.is_empty() && season.start.is_none() => {
                lines.push((Rank::Count, work("no open flowers are counted yet")));
            }
            None => {}
        }
        if season.decision.is_none() {
            let advice = season.verdict.verdict;
            let line = format!("to thin or not is not decided; the table says: {}", advice.spoken());
            // A count is work in the block; deciding is not.
            let line =
                if advice == Advice::CountFirst { work(&line) } else { format!("{}.", capital(&line)) };
            lines.push((Rank::Decide, line));
        }
    }
    if !over && let Some(note) = season.notes.iter().find(|note| note.code == UNCONFIRMED) {
        lines.push((Rank::Confirm, note.text.to_string()));
    }
    lines.sort_by_key(|(rank, _)| *rank);
    let rank = lines.first()?.0;
    let mut lines: Vec<String> = lines.into_iter().map(|(_, line)| line).collect();
    lines.extend(closed(season.reentry.as_ref(), zone, now));
    Some(Waiting { rank, lines })
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
