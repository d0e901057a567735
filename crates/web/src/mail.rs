//! The page that a mail leads to: take note, mute a block, or stop mail. Opening it
//! changes nothing, whoever opens it: mail scanners fetch every link. Sending the same
//! again does no more.

use axum::extract::{Form, Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use model::time::{Instant, zone};
use serde::Deserialize;
use store::{AlertRow, Message, Mute, Silence, Silenced, StoreError, Word};

use crate::words::english;
use crate::{Web, pages};

/// What the page shows of one alert.
pub(crate) struct Row {
    pub(crate) id: String,
    pub(crate) block: String,
    pub(crate) kind: String,
    pub(crate) raised: String,
    /// When someone took note.
    pub(crate) noted: Option<String>,
}

/// What a button sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Sent {
    #[serde(rename = "do")]
    what: String,
    alert: String,
}

/// Refuses a link that is not ours.
fn unknown() -> Response {
    pages::refused(StatusCode::NOT_FOUND, english().get("mail.unknown"))
}

/// The mail of a link, when the link is ours.
async fn of_link(web: &Web, id: &str, mark: &str) -> Result<Option<Message>, StoreError> {
    if !web.seal.is_of_mail(id, mark) {
        return Ok(None);
    }
    web.store.message(id).await
}

pub(crate) async fn form(State(web): State<Web>, Path((id, mark)): Path<(String, String)>) -> Response {
    match of_link(&web, &id, &mark).await {
        Ok(Some(message)) => shown(&web, &message, None).await,
        Ok(None) => unknown(),
        Err(error) => pages::failed(&error),
    }
}

pub(crate) async fn act(
    State(web): State<Web>,
    Path((id, mark)): Path<(String, String)>,
    Form(sent): Form<Sent>,
) -> Response {
    let message = match of_link(&web, &id, &mark).await {
        Ok(Some(message)) => message,
        Ok(None) => return unknown(),
        Err(error) => return pages::failed(&error),
    };
    let done = match sent.what.as_str() {
        "note" => note(&web, &message, &sent.alert).await,
        "mute" => mute(&web, &message, &sent.alert).await,
        "stop" => stop(&web, &message).await,
        other => Ok(english().fill("mail.nothing", &[("what", &other)])),
    };
    match done {
        Ok(told) => shown(&web, &message, Some(told)).await,
        Err(error) => pages::failed(&error),
    }
}

/// One click in a mail program stops mail (RFC 8058).
pub(crate) async fn stop_at_once(
    State(web): State<Web>,
    Path((id, mark)): Path<(String, String)>,
) -> Response {
    let stopped = match of_link(&web, &id, &mark).await {
        Ok(Some(message)) => stop(&web, &message).await,
        Ok(None) => return unknown(),
        Err(error) => return pages::failed(&error),
    };
    match stopped {
        Ok(what) => {
            let words = english();
            pages::page(StatusCode::OK, &pages::Told { words, title: words.get("mail.stopped"), what: &what })
        }
        Err(error) => pages::failed(&error),
    }
}

async fn shown(web: &Web, message: &Message, told: Option<String>) -> Response {
    match rows(web, message).await {
        Ok(rows) => {
            let page = pages::Mail {
                words: english(),
                title: english().get("mail.title"),
                recipient: message.recipient.clone(),
                rows,
                told,
            };
            pages::page(StatusCode::OK, &page)
        }
        Err(error) => pages::failed(&error),
    }
}

async fn rows(web: &Web, message: &Message) -> Result<Vec<Row>, StoreError> {
    let mut rows = Vec::new();
    for alert in web.store.alerts_in(&message.id).await? {
        let Some(block) = web.store.block(&alert.block_id).await? else { continue };
        let site = web.store.site(&block.site_id).await?;
        let zone = site.and_then(|site| zone(&site.time_zone).ok()).unwrap_or(chrono_tz::UTC);
        let spoken = |at: Instant| at.spoken(zone);
        rows.push(Row {
            raised: spoken(alert.raised_at),
            noted: alert.acknowledged_at.map(spoken),
            id: alert.id,
            block: block.name,
            kind: alert.kind,
        });
    }
    Ok(rows)
}

async fn alert_of(web: &Web, message: &Message, alert_id: &str) -> Result<Option<AlertRow>, StoreError> {
    let alerts = web.store.alerts_in(&message.id).await?;
    Ok(alerts.into_iter().find(|alert| alert.id == alert_id))
}

/// What became of a block's mail to who asked for less of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quiet {
    /// None goes to them until its state changes.
    Muted,
    /// It goes on: the address is on the farm's own list, where nothing is muted.
    OnList,
    /// It goes on: the season has no state yet that could change.
    NoState,
}

impl Quiet {
    /// That in a sentence, with what to do where the mail goes on.
    fn told(self) -> &'static str {
        english().get(match self {
            Quiet::Muted => "mail.is_muted",
            Quiet::OnList => "mail.on_list",
            Quiet::NoState => "mail.no_state",
        })
    }
}

/// Someone took note: it is on record, and where they are a contact the block is quiet
/// for them until its state changes.
async fn note(web: &Web, message: &Message, alert_id: &str) -> Result<String, StoreError> {
    let Some(alert) = alert_of(web, message, alert_id).await? else { return Ok(told("mail.not_here")) };
    let first = web.store.acknowledge(&alert.id, web.clock.now()).await?;
    let quiet = quiet(web, message, &alert).await?;
    let noted = english().get(if first { "mail.is_noted" } else { "mail.noted_before" });
    Ok(format!("{noted} {}", quiet.told()))
}

async fn mute(web: &Web, message: &Message, alert_id: &str) -> Result<String, StoreError> {
    let Some(alert) = alert_of(web, message, alert_id).await? else { return Ok(told("mail.not_here")) };
    Ok(quiet(web, message, &alert).await?.told().to_owned())
}

/// What was done, or was not.
fn told(key: &str) -> String {
    english().get(key).to_owned()
}

/// Mutes an alert's block for the mail's recipient, where that is a contact.
async fn quiet(web: &Web, message: &Message, alert: &AlertRow) -> Result<Quiet, StoreError> {
    let Some(block) = web.store.block(&alert.block_id).await? else { return Ok(Quiet::NoState) };
    let contacts = web.store.contacts_of(&block.farm_id).await?;
    let Some(contact) = contacts.into_iter().find(|contact| contact.email == message.recipient) else {
        return Ok(Quiet::OnList);
    };
    let season = web.store.season(&alert.block_id, alert.year).await?;
    let Some(reckoned) = season.and_then(|season| season.reckoned) else { return Ok(Quiet::NoState) };
    let mute = Mute {
        contact_id: contact.id,
        block_id: alert.block_id.clone(),
        year: alert.year,
        state: reckoned.state,
        at: web.clock.now(),
    };
    web.store.mute(&mute).await?;
    Ok(Quiet::Muted)
}

/// The owner of the address wants no more mail; whoever looks after the farms hears so.
async fn stop(web: &Web, message: &Message) -> Result<String, StoreError> {
    let now = web.clock.now();
    for farm_id in web.store.farms_of_mail(&message.id).await? {
        let farm = web.store.farm(&farm_id).await?.map(|farm| farm.name).unwrap_or_default();
        let word = Word::Stopped { farm, who: message.recipient.clone() };
        let others = web.store.caretakers(&farm_id, &message.recipient).await?;
        let notices: Vec<_> =
            others.iter().map(|to| word.notice(&farm_id, to, &now.to_string(), now)).collect();
        let silenced = Silenced {
            farm_id,
            email: message.recipient.clone(),
            because: Silence::Stopped,
            detail: None,
            at: now,
        };
        web.store.silence(&silenced, &notices).await?;
    }
    Ok(english().fill("mail.is_stopped", &[("email", &message.recipient)]))
}
