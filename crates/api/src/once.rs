//! `Idempotency-Key`: what is asked twice is done once.
//!
//! The first answer of success is kept for 90 days and given again. Ids that
//! the server makes follow from the key, so that a request whose server went
//! away in the middle does nothing twice either when it comes again. A
//! station's file is not held up for this: the same readings again change
//! nothing by themselves.

use std::sync::Arc;

use access::Caller;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use model::time::{DAY, Instant, MINUTE};
use serde_json::Value;
use sha2::{Digest, Sha256};
use store::{Answer, Asked};

use crate::desk::Desk;
use crate::limits;
use crate::problem::Problem;
use crate::request::{Incoming, content_type, is_json};

const KEY: HeaderName = HeaderName::from_static("idempotency-key");
/// Longest key, bytes.
const KEY_BYTES: usize = 255;
/// How long an answer is kept: phones come back late.
const KEPT: i64 = 90 * DAY;
/// After so long without an answer whoever began is taken to be gone.
const GIVEN_UP: i64 = 5 * MINUTE;

/// What ids are made from in a request that may come again.
#[derive(Debug, Clone)]
pub(crate) struct Seed {
    bearer: String,
    key: String,
    at: Instant,
}

impl Seed {
    /// The id number `n` of the request: a UUIDv7 of the time at which it first
    /// came, so that those made later in it are higher.
    pub(crate) fn id(&self, n: u16) -> String {
        let hash = Sha256::new_with_prefix(&self.bearer)
            .chain_update([0])
            .chain_update(&self.key)
            .chain_update(n.to_be_bytes())
            .finalize();
        let mut random = [0; 10];
        random.copy_from_slice(&hash[..10]);
        // The 12 bits behind the version come first in the order.
        random[0] = (n >> 8).to_be_bytes()[1];
        random[1] = n.to_be_bytes()[1];
        let millis = self.at.0.max(0).unsigned_abs() * 1_000;
        uuid::Builder::from_unix_timestamp_millis(millis, &random).into_uuid().to_string()
    }
}

/// Marks an answer with a secret in these fields, which is shown once and not
/// kept.
#[derive(Debug, Clone)]
pub(crate) struct Secret(pub(crate) &'static str);

/// Does what bears a key once.
pub(crate) async fn once(State(desk): State<Arc<Desk>>, request: Request, next: Next) -> Response {
    if *request.method() != Method::POST || !request.headers().contains_key(KEY) {
        return next.run(request).await;
    }
    let key = match key(&request) {
        Ok(key) => key,
        Err(problem) => return problem.into_response(),
    };
    let json = content_type(request.headers()).is_none_or(|found| is_json(&found));
    if !json {
        return next.run(request).await;
    }
    match keyed(&desk, key, request, next).await {
        Ok(response) => response,
        Err(problem) => problem.into_response(),
    }
}

fn key(request: &Request) -> Result<String, Problem> {
    let mut keys = request.headers().get_all(KEY).iter();
    let fits =
        |key: &&str| (1..=KEY_BYTES).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic());
    match (keys.next().and_then(|key| key.to_str().ok()).filter(fits), keys.next()) {
        (Some(key), None) => Ok(key.to_owned()),
        _ => {
            let detail = format!(
                "The header Idempotency-Key takes one key of 1 to {KEY_BYTES} signs of ASCII, without blanks."
            );
            Err(Problem::broken_off(detail))
        }
    }
}

async fn keyed(desk: &Desk, key: String, request: Request, next: Next) -> Result<Response, Problem> {
    let caller = request.extensions().get::<Caller>().ok_or_else(Problem::no_token)?;
    let bearer = caller.person_id.clone().unwrap_or_else(|| caller.credential_id.clone());
    let (mut parts, body) = request.into_parts();
    let whole = Request::from_parts(parts.clone(), body);
    let body = Incoming::new(whole, limits::JSON_BYTES as u64)?.whole().await?;
    let address = parts.uri.path_and_query().map_or("", |address| address.as_str());
    let fingerprint = Sha256::new_with_prefix(address).chain_update([0]).chain_update(&body).finalize();
    let fingerprint: String = fingerprint.iter().map(|byte| format!("{byte:02x}")).collect();
    let store = &desk.house_store;
    let now = desk.now();
    store.forget_answers(now.plus(-KEPT)).await?;
    let at = match store.ask(&bearer, &key, &fingerprint, now, now.plus(-GIVEN_UP)).await? {
        Asked::First(at) => at,
        Asked::Answered(answer) => return again(answer),
        Asked::UnderWay => return Err(Problem::under_way()),
        Asked::Other => return Err(Problem::other_body()),
    };
    parts.extensions.insert(Seed { bearer: bearer.clone(), key: key.clone(), at });
    let response = next.run(Request::from_parts(parts, Body::from(body))).await;
    if !response.status().is_success() {
        store.unask(&bearer, &key).await?;
        return Ok(response);
    }
    let (parts, body) = response.into_parts();
    let body = to_bytes(body, usize::MAX).await.map_err(|_| Problem::failed())?;
    let location = parts.headers.get(header::LOCATION).and_then(|location| location.to_str().ok());
    let answer = Answer {
        status: parts.status.as_u16(),
        location: location.map(str::to_owned),
        body: without(parts.extensions.get::<Secret>(), &body),
    };
    store.keep_answer(&bearer, &key, &answer).await?;
    Ok(Response::from_parts(parts, Body::from(body)))
}

/// An answer as it is kept: without its secret.
fn without(secret: Option<&Secret>, body: &[u8]) -> String {
    let text = String::from_utf8_lossy(body).into_owned();
    let Some(Secret(field)) = secret else { return text };
    let Ok(mut document) = serde_json::from_str::<Value>(&text) else { return String::new() };
    document[*field] = Value::Null;
    document.to_string()
}

fn again(answer: Answer) -> Result<Response, Problem> {
    let status = StatusCode::from_u16(answer.status).map_err(|_| Problem::failed())?;
    let mut response = (status, answer.body).into_response();
    let headers = response.headers_mut();
    headers.remove(header::CONTENT_TYPE);
    if status != StatusCode::NO_CONTENT {
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    }
    if let Some(location) = answer.location.and_then(|location| HeaderValue::from_str(&location).ok()) {
        headers.insert(header::LOCATION, location);
    }
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_follow_from_the_key_and_rise() {
        let seed = |key: &str| Seed { bearer: "ada".into(), key: key.into(), at: Instant(1_366_848_000) };
        let ids: Vec<String> = (0..1_000).map(|n| seed("k").id(n)).collect();
        assert!(ids.is_sorted() && ids.windows(2).all(|pair| pair[0] != pair[1]));
        assert_eq!(ids[7], seed("k").id(7));
        assert_ne!(ids[7], seed("other").id(7));
        assert!(ids.iter().all(|id| uuid::Uuid::parse_str(id).unwrap().get_version_num() == 7));
    }

    #[test]
    fn a_secret_is_not_kept() {
        let body = br#"{"id":"t-1","secret":"bt_1"}"#;
        assert_eq!(without(Some(&Secret("secret")), body), r#"{"id":"t-1","secret":null}"#);
        assert_eq!(without(None, b"{}"), "{}");
    }
}
