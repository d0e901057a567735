//! What a call says.

use model::words;
use serde_json::{Value, json};
use store::{AlertRow, Block, Hook, LeasedCall};

/// The body of a call: its type, when what it tells was decided, and the alert as
/// the API shows it, with its block's name and farm.
pub fn payload(leased: &LeasedCall) -> Value {
    let data = match &leased.alert {
        Some((alert, block)) => of_alert(alert, block),
        None => of_test(&leased.hook),
    };
    json!({"type": leased.call.kind, "timestamp": leased.call.created_at, "data": data})
}

fn of_alert(alert: &AlertRow, block: &Block) -> Value {
    let AlertRow { block_id, year, kind, subject, generation, .. } = alert;
    json!({
        "id": alert.id,
        "key": format!("{block_id}.{year}/{kind}/{subject}/{generation}"),
        "block_id": block_id,
        "block": block.name,
        "farm_id": block.farm_id,
        "year": year,
        "kind": kind,
        "subject": subject,
        "generation": generation,
        "about": alert.about,
        "raised_at": alert.raised_at,
        "caution": words::CAUTION,
    })
}

fn of_test(hook: &Hook) -> Value {
    json!({
        "hook_id": hook.id,
        "farm_id": hook.farm_id,
        "text": "This is a test: nothing has happened and nothing is due.",
    })
}
