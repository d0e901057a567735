//! Alerts: what was told, or left untold with the reason.

use access::Deed;
use axum::extract::Path;
use model::time::Instant;
use model::words;
use serde::Serialize;
use serde_json::Value;
use store::{AlertRow, ItemShown, Message, Mute};
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, ok, page};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{Moment, Page, Paging};

/// What was told, or left untold with the reason.
#[derive(Serialize, ToSchema)]
pub(crate) struct AlertShown {
    id: String,
    /// Season, kind, subject and generation.
    key: String,
    block_id: String,
    year: i32,
    /// `started`, `heads-up`, `due`, `withdrawn` and others.
    kind: String,
    subject: String,
    generation: i64,
    /// `told` or `skipped`.
    status: &'static str,
    /// Why it was told, or was not.
    reason: Option<String>,
    #[schema(value_type = Object)]
    about: Value,
    #[schema(value_type = Moment)]
    raised_at: Instant,
    #[schema(value_type = Moment)]
    useful_until: Instant,
    #[schema(value_type = Option<Moment>)]
    withdrawn_at: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    acknowledged_at: Option<Instant>,
    caution: &'static str,
}

/// An alert with the mails that carry it.
#[derive(Serialize, ToSchema)]
pub(crate) struct AlertWhole {
    #[serde(flatten)]
    alert: AlertShown,
    messages: Vec<MessageShown>,
    /// What was decided for each recipient.
    recipients: Vec<RecipientShown>,
}

/// One recipient of an alert.
#[derive(Serialize, ToSchema)]
pub(crate) struct RecipientShown {
    recipient: String,
    /// `send`, `hold` or `skip`.
    decision: &'static str,
    /// Why.
    reason: Option<String>,
    /// Until when it waits.
    #[schema(value_type = Option<Moment>)]
    hold_until: Option<Instant>,
    /// When others were asked to stand in, since it did not arrive.
    #[schema(value_type = Option<Moment>)]
    second_at: Option<Instant>,
}

/// One mail.
#[derive(Serialize, ToSchema)]
pub(crate) struct MessageShown {
    recipient: String,
    /// `ready`, `offered`, `unknown`, `sent` or `failed`.
    state: &'static str,
    /// Its Message-ID.
    header_id: String,
    #[schema(value_type = Moment)]
    composed_at: Instant,
    #[schema(value_type = Option<Moment>)]
    sent_at: Option<Instant>,
    attempts: i64,
    last_error: Option<String>,
}

/// Of what.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OfWhat {
    /// Only those of this farm.
    farm_id: Option<String>,
    /// Only those of this block.
    block_id: Option<String>,
}

/// The alerts that the caller sees.
#[utoipa::path(get, path = "/alerts", tag = "alerts", operation_id = "list-alerts", params(Paging, OfWhat),
    responses((status = 200, body = Page<AlertShown>)))]
pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let (farm, block) = (query.text("farm_id"), query.text("block_id"));
    let span = query.page();
    query.finish()?;
    let alerts = desk.store.alerts(farm.as_deref(), block.as_deref(), span.after(), span.limit + 1).await?;
    page(alerts, &span, |alert| alert.id.clone(), shown)
}

/// One alert with the mails that carry it.
#[utoipa::path(get, path = "/alerts/{id}", tag = "alerts", operation_id = "read-alert",
    params(("id" = String, Path)), responses((status = 200, body = AlertWhole)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let alert = desk.alert(&id).await?;
    let messages = desk.store.messages_of(&id).await?;
    let items = desk.store.items_of(&id).await?;
    let now = desk.now();
    ok(AlertWhole {
        alert: shown(&alert),
        messages: messages.iter().map(shown_message).collect(),
        recipients: items.into_iter().map(|item| shown_item(item, now)).collect(),
    })
}

/// Notes that a person took note; the first time holds. Where that person is a
/// contact of the farm, they hear nothing more of the block until its state changes.
/// The body, if any, is not read.
#[utoipa::path(post, path = "/alerts/{id}/acknowledgement", tag = "alerts", operation_id = "acknowledge-alert",
    params(("id" = String, Path)), responses((status = 200, body = AlertShown)))]
pub(crate) async fn acknowledge(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let alert = desk.alert(&id).await?;
    let block = desk.block(&alert.block_id).await?;
    desk.allow(Deed::Log, Some(&block.farm_id))?;
    desk.store.acknowledge(&id, desk.now()).await?;
    quiet(&desk, &alert, &block.farm_id).await?;
    ok(shown(&desk.alert(&id).await?))
}

/// Mutes the block for the contact who is the caller.
async fn quiet(desk: &Visit, alert: &AlertRow, farm_id: &str) -> Result<(), Problem> {
    let Ok(person) = desk.person() else { return Ok(()) };
    let Some(person) = desk.store.person(person).await? else { return Ok(()) };
    let contacts = desk.store.contacts_of(farm_id).await?;
    let Some(contact) = contacts.into_iter().find(|contact| contact.email == person.email) else {
        return Ok(());
    };
    let season = desk.store.season(&alert.block_id, alert.year).await?;
    let Some(reckoned) = season.and_then(|season| season.reckoned) else { return Ok(()) };
    let mute = Mute {
        contact_id: contact.id,
        block_id: alert.block_id.clone(),
        year: alert.year,
        state: reckoned.state,
        at: desk.now(),
    };
    desk.store.mute(&mute).await?;
    Ok(())
}

impl Visit {
    async fn alert(&self, id: &str) -> Result<AlertRow, Problem> {
        let alert = self.store.alert(id).await?;
        alert.ok_or_else(|| Problem::not_found(format!("There is no alert `{id}`.")))
    }
}

pub(crate) fn shown(alert: &AlertRow) -> AlertShown {
    AlertShown {
        id: alert.id.clone(),
        key: format!(
            "{}.{}/{}/{}/{}",
            alert.block_id, alert.year, alert.kind, alert.subject, alert.generation
        ),
        block_id: alert.block_id.clone(),
        year: alert.year,
        kind: alert.kind.clone(),
        subject: alert.subject.clone(),
        generation: alert.generation,
        status: alert.status.word(),
        reason: alert.reason.clone(),
        about: alert.about.clone(),
        raised_at: alert.raised_at,
        useful_until: alert.useful_until,
        withdrawn_at: alert.withdrawn_at,
        acknowledged_at: alert.acknowledged_at,
        caution: words::CAUTION,
    }
}

fn shown_message(message: &Message) -> MessageShown {
    MessageShown {
        recipient: message.recipient.clone(),
        state: message.state.word(),
        header_id: message.header_id.clone(),
        composed_at: message.composed_at,
        sent_at: message.sent_at,
        attempts: message.attempts,
        last_error: message.last_error.clone(),
    }
}

fn shown_item(item: ItemShown, now: Instant) -> RecipientShown {
    let waits = item.message_id.is_none() && item.hold_until.is_some_and(|until| until > now);
    let decision = match (&item.unsent_because, waits) {
        (Some(_), _) => "skip",
        (None, true) => "hold",
        (None, false) => "send",
    };
    RecipientShown {
        recipient: item.recipient,
        decision,
        reason: item.unsent_because.or(item.because),
        hold_until: item.hold_until,
        second_at: item.second_at,
    }
}
