//! Alerts: what was told, or left untold with the reason.

use access::Deed;
use axum::extract::Path;
use model::words;
use serde_json::{Value, json};
use store::{AlertRow, Message};

use crate::answer::{Answer, ok, page};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;

pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let (after, limit) = query.page();
    let (farm, block) = (query.text("farm_id"), query.text("block_id"));
    query.finish()?;
    let alerts = desk.store.alerts(farm.as_deref(), block.as_deref(), after.as_deref(), limit + 1).await?;
    page(alerts, limit, |alert| alert.id.clone(), render)
}

/// One alert with the mails that carry it.
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let alert = desk.alert(&id).await?;
    let messages = desk.store.messages_of(&id).await?;
    let mut document = render(&alert);
    document["messages"] = messages.iter().map(render_message).collect();
    ok(document)
}

/// Notes that a person took note; the first time holds. The body, if any, is
/// not read.
pub(crate) async fn acknowledge(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let alert = desk.alert(&id).await?;
    let block = desk.block(&alert.block_id).await?;
    desk.allow(Deed::Log, Some(&block.farm_id))?;
    desk.store.acknowledge(&id, desk.now()).await?;
    ok(render(&desk.alert(&id).await?))
}

impl Visit {
    async fn alert(&self, id: &str) -> Result<AlertRow, Problem> {
        let alert = self.store.alert(id).await?;
        alert.ok_or_else(|| Problem::not_found(format!("There is no alert `{id}`.")))
    }
}

fn render(alert: &AlertRow) -> Value {
    json!({
        "id": alert.id,
        "key": format!(
            "{}.{}/{}/{}/{}",
            alert.block_id, alert.year, alert.kind, alert.subject, alert.generation
        ),
        "block_id": alert.block_id,
        "year": alert.year,
        "kind": alert.kind,
        "subject": alert.subject,
        "generation": alert.generation,
        "status": alert.status.word(),
        "reason": alert.reason,
        "about": alert.about,
        "raised_at": alert.raised_at,
        "useful_until": alert.useful_until,
        "withdrawn_at": alert.withdrawn_at,
        "acknowledged_at": alert.acknowledged_at,
        "caution": words::CAUTION,
    })
}

fn render_message(message: &Message) -> Value {
    json!({
        "recipient": message.recipient,
        "state": message.state.word(),
        "header_id": message.header_id,
        "composed_at": message.composed_at,
        "sent_at": message.sent_at,
        "attempts": message.attempts,
        "last_error": message.last_error,
    })
}
