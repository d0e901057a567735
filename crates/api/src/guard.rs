//! Nothing under `/api/v1` without a token, and no token more than its share.

use std::sync::Arc;

use access::Denied;
use axum::extract::{Request, State};
use axum::http::header;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

use crate::desk::Desk;
use crate::problem::Problem;
use crate::quota::Over;

/// Lets a request on when it bears a token, with its [`access::Caller`] in the
/// extensions.
pub(crate) async fn guard(State(desk): State<Arc<Desk>>, mut request: Request, next: Next) -> Response {
    if request.uri().query().is_some_and(bears_token) {
        return Problem::token_in_address().into_response();
    }
    let header = request.headers().get(header::AUTHORIZATION).map(|value| value.as_bytes().to_vec());
    let now = desk.now();
    // Counted before it is read: what is written meanwhile ends the copy.
    let generation = desk.house_store.people_generation();
    let key: [u8; 32] = Sha256::digest(header.as_deref().unwrap_or_default()).into();
    let known = match desk.callers.get(&key, generation, now) {
        Some(caller) => Ok(caller),
        None => {
            let found = access::bearer(&desk.house_store, header.as_deref(), now).await;
            if let Ok(caller) = &found {
                desk.callers.put(key, generation, now, caller.clone());
            }
            found
        }
    };
    let caller = match known {
        Ok(caller) => caller,
        Err(Denied::NoToken) => return Problem::no_token().into_response(),
        Err(Denied::Store(error)) => return Problem::from(error).into_response(),
    };
    let (left, _place) = match desk.quota.take(&caller.credential_id, now) {
        Ok(taken) => taken,
        Err(Over::Minute(left)) => {
            let detail = "This token has used up its requests of this minute; the header RateLimit says when it has new ones.";
            let mut response = Problem::over_quota(left.reset, detail).into_response();
            left.write(response.headers_mut());
            return response;
        }
        Err(Over::AtOnce(most)) => {
            let detail =
                format!("This token has {most} requests under way, the most that one may have at once.");
            return Problem::over_quota(1, detail).into_response();
        }
    };
    request.extensions_mut().insert(caller);
    let mut response = next.run(request).await;
    left.write(response.headers_mut());
    response
}

/// Whether a query carries what looks like a token.
fn bears_token(query: &str) -> bool {
    query.split('&').any(|pair| {
        let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
        ["token", "access_token", "authorization"].contains(&name.to_ascii_lowercase().as_str())
            || access::looks_like_token(value)
    })
}
