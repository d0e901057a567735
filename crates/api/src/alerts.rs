//! Alerts: what was told, or left untold with the reason.

use access::Deed;
use axum::extract::Path;
use model::time::Instant;
use model::words;
use serde::Serialize;
use serde_json::Value;
use store::{AlertRow, Message};
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
    /// Why it was not told.
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
    ok(AlertWhole { alert: shown(&alert), messages: messages.iter().map(shown_message).collect() })
}

/// Notes that a person took note; the first time holds. The body, if any, is
/// not read.
#[utoipa::path(post, path = "/alerts/{id}/acknowledgement", tag = "alerts", operation_id = "acknowledge-alert",
    params(("id" = String, Path)), responses((status = 200, body = AlertShown)))]
pub(crate) async fn acknowledge(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let alert = desk.alert(&id).await?;
    let block = desk.block(&alert.block_id).await?;
    desk.allow(Deed::Log, Some(&block.farm_id))?;
    desk.store.acknowledge(&id, desk.now()).await?;
    ok(shown(&desk.alert(&id).await?))
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
