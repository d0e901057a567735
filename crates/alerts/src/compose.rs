//! What goes to one recipient in one pass as one mail.

use model::alert_kind::AlertKind;
use model::time::{Instant, zone};
use model::words;
use store::{Message, MessageState, Purpose, Uncomposed};
use uuid::Uuid;

use crate::about::About;
use crate::mail::letter::{self, Letter, LetterError};
use crate::sender::Sender;

mod page;
mod plain;
mod said;

pub(crate) use page::{html, text};
pub use plain::plain;
use said::Words;

/// Why an alert could not be put into words.
#[derive(Debug, thiserror::Error)]
pub enum ComposeError {
    /// What was kept of it cannot be read.
    #[error("alert {alert}: its facts cannot be read: {cause}")]
    Facts {
        /// Id of the alert.
        alert: String,
        /// What was wrong.
        cause: String,
    },
    /// The letter cannot be built.
    #[error("a mail to {recipient}: {source}")]
    Letter {
        /// Mail address.
        recipient: String,
        /// What was wrong.
        source: LetterError,
    },
}

/// Most alerts that one mail carries; more come in the next one.
pub const MOST_ALERTS: usize = 50;

/// Composes the message that carries some items of one recipient, the most urgent
/// first. The same items give the same bytes, save the moment of composing.
///
/// # Errors
/// [`ComposeError`].
///
/// # Panics
/// When there is no item.
pub fn compose(waiting: &[&Uncomposed], sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    let mut told: Vec<Told<'_>> = waiting.iter().map(|one| Told::read(one)).collect::<Result<_, _>>()?;
    told.sort_by_key(|told| (rank(told.about.kind), told.waiting.alert.raised_at));
    let first = told.first().expect("a mail carries at least one alert");
    let recipient = &first.waiting.item.recipient;
    let id = message_id(waiting);
    let mut parts: Vec<(String, Vec<String>)> =
        told.iter().map(|told| (told.words().subject(), told.words().lines())).collect();
    let subject = match told.len() {
        1 => parts[0].0.clone(),
        several => format!("{} (+{} more)", parts[0].0, several - 1),
    };
    let mut foot: Vec<String> = Vec::new();
    if let [(_, only)] = parts.as_mut_slice() {
        only.push(words::CAUTION.to_owned());
    } else {
        foot.push(words::CAUTION.to_owned());
    }
    foot.extend(sender.page_of(&id).map(|url| format!("Took note, or want less of this: {url}")));
    let kinds: Vec<String> =
        told.iter().map(|told| format!("{}; {}", told.about.kind.word(), told.waiting.alert.id)).collect();
    let mut headers = vec![("X-Bloomtide-Alert".to_owned(), kinds.join(", "))];
    headers.extend(thread(&told));
    headers.extend(sender.unsubscribe(&id));
    finish(
        Draft { id, recipient, subject, parts, foot, headers, purpose: Purpose::Alerts, useful_until: None },
        sender,
        now,
    )
}

/// A mail that has all its words.
pub(crate) struct Draft<'a> {
    pub(crate) id: String,
    pub(crate) recipient: &'a str,
    pub(crate) subject: String,
    /// Each part with its heading, which shows where there are several.
    pub(crate) parts: Vec<(String, Vec<String>)>,
    pub(crate) foot: Vec<String>,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) purpose: Purpose,
    pub(crate) useful_until: Option<Instant>,
}

pub(crate) fn finish(draft: Draft<'_>, sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    let Draft { id, recipient, subject, parts, foot, headers, purpose, useful_until } = draft;
    let in_letter = |source| ComposeError::Letter { recipient: recipient.to_owned(), source };
    let header_id = letter::header_id(&id, &sender.domain).map_err(in_letter)?;
    let subject = page::cut(&subject);
    let letter = Letter {
        from: sender.from.clone(),
        to: recipient.to_owned(),
        text: text(&parts, &foot),
        html: html(&subject, &parts, &foot),
        subject,
        header_id: header_id.clone(),
        date: now,
        headers,
    };
    let body = letter::build(&letter).map_err(in_letter)?;
    Ok(Message {
        id,
        header_id,
        purpose,
        recipient: recipient.to_owned(),
        body,
        composed_at: now,
        state: MessageState::Ready,
        attempts: 0,
        next_try_at: Some(now),
        last_error: None,
        sent_at: None,
        useful_until,
    })
}

/// One alert with its facts as they were kept.
struct Told<'a> {
    waiting: &'a Uncomposed,
    about: About,
    zone: chrono_tz::Tz,
    block: String,
    farm: String,
}

impl<'a> Told<'a> {
    fn read(waiting: &'a Uncomposed) -> Result<Told<'a>, ComposeError> {
        let alert = &waiting.alert;
        let facts = |cause: String| ComposeError::Facts { alert: alert.id.clone(), cause };
        let about: About =
            serde_json::from_value(alert.about.clone()).map_err(|error| facts(error.to_string()))?;
        let zone = zone(&waiting.site.time_zone).map_err(|error| facts(error.to_string()))?;
        Ok(Told { waiting, about, zone, block: plain(&waiting.block.name), farm: plain(&waiting.farm.name) })
    }

    fn words(&self) -> Words<'_> {
        let cultivar = self.waiting.block.details.get("cultivar").and_then(|name| name.as_str());
        Words {
            block: &self.block,
            cultivar: cultivar.unwrap_or_default(),
            farm: &self.farm,
            about: &self.about,
            zone: self.zone,
        }
    }
}

/// What is told first where one mail has several.
fn rank(kind: AlertKind) -> usize {
    use AlertKind::*;
    let order =
        [Overrun, Due, Withdrawn, Blind, Moved, HeadsUp, Frost, CheckDamage, CountNow, Decide, Started];
    order.iter().position(|other| *other == kind).unwrap_or(order.len())
}

/// Of one item its own id; of several one made from all of theirs.
fn message_id(waiting: &[&Uncomposed]) -> String {
    let mut ids: Vec<&str> = waiting.iter().map(|one| one.item.id.as_str()).collect();
    ids.sort_unstable();
    match ids.as_slice() {
        [only] => (*only).to_owned(),
        several => Uuid::new_v5(&Uuid::NAMESPACE_OID, several.join(" ").as_bytes()).to_string(),
    }
}

/// Readers show a mail under those that it refers to: the earlier ones of the same
/// block's season.
fn thread(told: &[Told<'_>]) -> Vec<(String, String)> {
    let mut earlier: Vec<&str> = Vec::new();
    for id in told.iter().flat_map(|told| &told.waiting.thread) {
        if !earlier.contains(&id.as_str()) {
            earlier.push(id);
        }
    }
    let Some(last) = told.first().and_then(|told| told.waiting.thread.last()) else { return Vec::new() };
    let all: Vec<String> = earlier.iter().map(|id| format!("<{id}>")).collect();
    vec![("In-Reply-To".to_owned(), format!("<{last}>")), ("References".to_owned(), all.join(" "))]
}

#[cfg(test)]
mod tests;
