//! What stands of someone's blocks: in the morning, and before quiet hours into which
//! a mark is expected to fall.

use chrono::{Datelike, NaiveDate, NaiveTime, TimeZone, Weekday};
use chrono_tz::Tz;
use model::bloom::Basis;
use model::season::{Season, State};
use model::time::{DAY, HOUR, Instant};
use model::wishes::{Quiet, Wishes};
use model::{waiting, words};
use store::{Contact, Message, Purpose};
use uuid::Uuid;

use crate::compose::{ComposeError, Draft, finish, plain};
use crate::sender::Sender;

/// A digest that could not go out so long after its time is left out.
const LATEST: i64 = 4 * HOUR;
/// A start that is expected within this is worth a line.
const NEAR: i64 = 3 * DAY;
/// So long before quiet hours begin what is expected to fall into them is told.
const BEFORE_QUIET: i64 = 2 * HOUR;

/// A block with its season as it was reckoned.
#[derive(Debug, Clone)]
pub struct Stand {
    /// The block's id.
    pub block_id: String,
    /// What its people call it.
    pub block: String,
    /// Its zone.
    pub zone: Tz,
    /// The season.
    pub season: Season,
}

/// Id of the digest that is to go out to a contact by now; none when it is not its
/// time. Its message has the same id, so that it is composed once.
pub fn due_digest(contact: &Contact, wishes: &Wishes, now: Instant) -> Option<String> {
    let (at, zone) = (wishes.digest_at?, wishes.zone?);
    let today = now.local_date(zone);
    let due = moment(today, at, zone)?;
    (due <= now && now < due.plus(LATEST)).then(|| once("digest", contact, today))
}

/// The morning digest: blocks at work or near their start. Where there is nothing of
/// that kind it comes on Mondays alone, and says what is watched.
///
/// # Errors
/// [`ComposeError`] when the address is none.
pub fn digest(
    id: String,
    contact: &Contact,
    wishes: &Wishes,
    farm: &str,
    blocks: &[Stand],
    sender: &Sender,
    now: Instant,
) -> Result<Option<Message>, ComposeError> {
    let zone = wishes.zone.unwrap_or(Tz::UTC);
    let mut near: Vec<(Instant, Vec<String>)> =
        blocks.iter().filter_map(|stand| at_work(stand, now)).collect();
    near.sort_by_key(|(at, _)| *at);
    let watched = blocks.iter().filter(|stand| stand.season.state == State::Watching).count();
    let monday = now.local_date(zone).weekday() == Weekday::Mon;
    if near.is_empty() && !(monday && watched > 0) {
        return Ok(None);
    }
    let farm = plain(farm);
    let subject = match near.len() {
        0 => format!("{farm}: still watching, nothing is near"),
        1 => format!("{farm} this morning: 1 block at work"),
        several => format!("{farm} this morning: {several} blocks at work"),
    };
    let mut lines: Vec<String> = near.into_iter().flat_map(|(_, lines)| lines).collect();
    if watched > 0 && monday {
        lines.push(format!("{watched} blocks are watched: their clocks have not started."));
    }
    lines.push(words::CAUTION.to_owned());
    message(
        Draft { purpose: Purpose::Digest, ..draft(id, contact, subject, lines, now.plus(LATEST)) },
        sender,
        now,
    )
    .map(Some)
}

/// A block that is at work or near its start, with when that is.
fn at_work(stand: &Stand, now: Instant) -> Option<(Instant, Vec<String>)> {
    let (season, zone) = (&stand.season, stand.zone);
    let name = plain(&stand.block);
    let start = season.start.as_ref();
    let (at, said) = match (season.state, season.running()) {
        (State::Watching, _) => {
            let start = start.filter(|start| start.basis == Basis::Expected)?;
            (start.at.since(now) <= NEAR)
                .then(|| (start.at, format!("its clock likely starts {}", start.at.spoken(zone))))?
        }
        (State::Due | State::Overrun, Some(leg)) => {
            let at = leg.reached_at.unwrap_or(now);
            (at, format!("leg {} is at its mark since {}", leg.number, at.spoken(zone)))
        }
        (State::Hold, Some(leg)) => {
            (now, format!("frost came over leg {}: look at the flowers first", leg.number))
        }
        (State::Growing, Some(leg)) => match (leg.expected_at, leg.mark) {
            (Some(at), _) => (at, format!("leg {} likely reaches its mark {}", leg.number, at.spoken(zone))),
            (None, Some(mark)) => (
                now.plus(30 * DAY),
                format!(
                    "leg {} stands at {:.2} of the style; {mark:.2} is not within the forecast",
                    leg.number, leg.progress_low
                ),
            ),
            (None, None) => return None,
        },
        _ => return None,
    };
    let mut lines = vec![format!("{name}: {said}.")];
    lines.extend(waiting::before_spray(season, zone, now).into_iter().map(|line| format!("  {line}")));
    Some((at, lines))
}

/// Id of the mail that tells before quiet hours what is expected to fall into them,
/// with those hours; none when it is not its time in that zone.
pub fn due_evening(
    contact: &Contact,
    wishes: &Wishes,
    zone: Tz,
    now: Instant,
) -> Option<(String, Instant, Instant)> {
    let quiet = wishes.quiet?;
    let today = now.local_date(zone);
    let begin = moment(today, quiet.from, zone)?;
    let end = Quiet { also_urgent: true, ..quiet }.until(begin, zone)?;
    let near = begin.since(now) <= BEFORE_QUIET && now < begin;
    near.then(|| (once("evening", contact, today), begin, end))
}

/// What is expected to fall into someone's quiet hours.
///
/// # Errors
/// [`ComposeError`] when the address is none.
pub fn evening(
    id: String,
    contact: &Contact,
    blocks: &[Stand],
    quiet: (Instant, Instant),
    sender: &Sender,
    now: Instant,
) -> Result<Option<Message>, ComposeError> {
    let (begin, end) = quiet;
    let expected = |stand: &Stand| {
        let at = stand.season.running().and_then(|leg| leg.expected_at);
        at.filter(|at| (begin..end).contains(at)).map(|at| (at, stand.clone()))
    };
    let mut tonight: Vec<(Instant, Stand)> = blocks.iter().filter_map(expected).collect();
    tonight.sort_by_key(|(at, _)| *at);
    let Some((at, first)) = tonight.first() else { return Ok(None) };
    let more = if tonight.len() > 1 { format!(" (+{} more)", tonight.len() - 1) } else { String::new() };
    let subject =
        format!("{}: mark likely {} - in your quiet hours{more}", plain(&first.block), at.spoken(first.zone));
    let mut lines: Vec<String> = tonight
        .iter()
        .map(|(at, stand)| format!("{}: likely at its mark {}.", plain(&stand.block), at.spoken(stand.zone)))
        .collect();
    lines.push(
        "\"due\" and \"overrun\" come all the same unless you chose otherwise; all else waits.".to_owned(),
    );
    lines.push(words::CAUTION.to_owned());
    message(Draft { purpose: Purpose::Evening, ..draft(id, contact, subject, lines, end) }, sender, now)
        .map(Some)
}

fn draft(id: String, contact: &Contact, subject: String, lines: Vec<String>, until: Instant) -> Draft<'_> {
    Draft {
        id,
        recipient: &contact.email,
        subject,
        parts: vec![(String::new(), lines)],
        foot: Vec::new(),
        headers: Vec::new(),
        purpose: Purpose::Digest,
        useful_until: Some(until),
    }
}

fn message(mut draft: Draft<'_>, sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    draft.headers.push(("X-Bloomtide-Notice".to_owned(), draft.purpose.word().to_owned()));
    draft.headers.extend(sender.unsubscribe(&draft.id));
    draft.foot.extend(sender.page_of(&draft.id).map(|url| format!("Want less of this: {url}")));
    finish(draft, sender, now)
}

fn once(what: &str, contact: &Contact, day: NaiveDate) -> String {
    Uuid::new_v5(&Uuid::NAMESPACE_OID, format!("{what} {} {day}", contact.id).as_bytes()).to_string()
}

fn moment(day: NaiveDate, at: NaiveTime, zone: Tz) -> Option<Instant> {
    let wall = |hours: i64| day.and_time(at) + chrono::Duration::hours(hours);
    (0..=1)
        .find_map(|hours| zone.from_local_datetime(&wall(hours)).earliest())
        .map(|at| Instant(at.timestamp()))
}
