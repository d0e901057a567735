//! Entries that a phone sends, each answered for itself: one that is refused never
//! holds up the others. What is appended goes the way of the API's own log.

use api::{Came, NotAdded};
use axum::Json;
use axum::body::Bytes;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use model::time::Instant;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::visit::Signed;
use crate::words::{Words, english};
use crate::write::said;

/// Entries in one request; a phone sends the rest in the next.
const MOST: usize = 200;

/// What a phone sends.
#[derive(Deserialize)]
struct Sent {
    /// What its clock shows.
    sent_at: Option<String>,
    /// Whose entries these are, by the page that they were written on: they do not go
    /// under the name of whoever is signed in by now.
    person: Option<String>,
    entries: Vec<Written>,
}

/// One entry with where it belongs.
#[derive(Deserialize)]
struct Written {
    block: String,
    year: i32,
    entry: Value,
}

/// Takes entries. What could not be decided for now, for a database that is busy, is not
/// among the answers: the phone keeps it and sends it again.
pub(crate) async fn take(signed: Result<Signed, Response>, body: Bytes) -> Response {
    let signed = match signed {
        Ok(signed) => signed,
        Err(response) if response.status().is_redirection() => {
            return refused(StatusCode::UNAUTHORIZED, "signed-out", english().get("entries.signed_out"));
        }
        Err(_) => return refused(StatusCode::SERVICE_UNAVAILABLE, "failed", english().get("entries.failed")),
    };
    let words = signed.words();
    let sent: Sent = match serde_json::from_slice(&body) {
        Ok(sent) => sent,
        Err(error) => {
            let said = words.fill("entries.unread", &[("error", &error)]);
            return refused(StatusCode::BAD_REQUEST, "unread", &said);
        }
    };
    if sent.entries.len() > MOST {
        let said = words.fill("entries.too_many", &[("n", &sent.entries.len()), ("most", &MOST)]);
        return refused(StatusCode::PAYLOAD_TOO_LARGE, "too-many", &said);
    }
    let own = signed.0.caller().person_id.as_deref();
    if sent.person.is_some() && sent.person.as_deref() != own {
        return refused(StatusCode::CONFLICT, "other-person", words.get("entries.other_person"));
    }
    let mut answers = Vec::with_capacity(sent.entries.len());
    for one in sent.entries {
        answers.extend(answer(&signed, one, words).await);
    }
    let now = signed.0.now();
    // By how much the phone's clock is ahead.
    let ahead = sent.sent_at.and_then(|at| Instant::parse(&at).ok()).map(|at| at.since(now));
    Json(json!({"now": now, "clock_ahead_seconds": ahead, "answers": answers})).into_response()
}

async fn answer(signed: &Signed, one: Written, words: &'static Words) -> Option<Value> {
    let id = one.entry["id"].as_str().map(str::to_owned);
    let Some(id) = id.filter(|id| !id.trim().is_empty()) else {
        let said = words.get("entries.no_id");
        return Some(json!({"id": null, "outcome": "refused", "said": said}));
    };
    let (outcome, said) = match signed.0.append(&one.block, one.year, one.entry).await {
        Ok(Came::Kept) => ("kept", words.get("entries.kept").to_owned()),
        Ok(Came::Known) => ("known", words.get("entries.known").to_owned()),
        Err(NotAdded::Refused(faults)) => ("refused", said::faults(&faults, words)),
        Err(NotAdded::Conflict(_)) => ("conflict", words.get("entries.conflict").to_owned()),
        Err(NotAdded::Failed(why)) => {
            tracing::warn!(entry = id, why, "an entry from a phone was not decided");
            return None;
        }
    };
    Some(json!({"id": id, "outcome": outcome, "said": said}))
}

fn refused(status: StatusCode, code: &str, said: &str) -> Response {
    (status, Json(json!({"error": code, "said": said}))).into_response()
}
