//! Nothing under `/api/v1` without a token.

use std::sync::Arc;

use access::Denied;
use axum::extract::{Request, State};
use axum::http::header;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::desk::Desk;
use crate::problem::Problem;

/// Lets a request on when it bears a token, with its [`access::Caller`] in the
/// extensions.
pub(crate) async fn guard(State(desk): State<Arc<Desk>>, mut request: Request, next: Next) -> Response {
    let header = request.headers().get(header::AUTHORIZATION).map(|value| value.as_bytes().to_vec());
    match access::bearer(&desk.house_store, header.as_deref(), desk.now()).await {
        Ok(caller) => {
            request.extensions_mut().insert(caller);
            next.run(request).await
        }
        Err(Denied::NoToken) => Problem::no_token().into_response(),
        Err(Denied::Store(error)) => Problem::from(error).into_response(),
    }
}
