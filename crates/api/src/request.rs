//! Bodies: how they come in, and how long they may be.

use axum::body::{Body, BodyDataStream, Bytes};
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use futures::StreamExt;
use serde_json::Value;

use crate::limits;
use crate::problem::Problem;

/// A body of JSON.
pub(crate) struct Document(pub(crate) Value);

impl<S: Send + Sync> FromRequest<S> for Document {
    type Rejection = Problem;

    async fn from_request(request: Request, _: &S) -> Result<Document, Problem> {
        let found = content_type(request.headers());
        if !found.as_deref().is_some_and(is_json) {
            return Err(Problem::other_type("application/json", found.as_deref()));
        }
        let bytes = Incoming::new(request, limits::JSON_BYTES as u64)?.whole().await?;
        serde_json::from_slice(&bytes).map(Document).map_err(|error| Problem::broken_json(&error))
    }
}

/// The content type without its parameters, in small letters.
pub(crate) fn content_type(headers: &HeaderMap) -> Option<String> {
    let text = headers.get(header::CONTENT_TYPE)?.to_str().ok()?;
    let essence = text.split(';').next().unwrap_or_default();
    Some(essence.trim().to_ascii_lowercase())
}

/// Whether a content type is JSON, as `application/json` or
/// `application/merge-patch+json`.
pub(crate) fn is_json(essence: &str) -> bool {
    essence == "application/json" || essence.starts_with("application/") && essence.ends_with("+json")
}

/// Refuses compressed bodies: a limit on bytes would say nothing about what
/// they hold.
pub(crate) async fn plain_body_only(request: Request, next: Next) -> Response {
    match request.headers().get(header::CONTENT_ENCODING) {
        Some(encoding) if !encoding.as_bytes().eq_ignore_ascii_case(b"identity") => {
            Problem::compressed().into_response()
        }
        _ => next.run(request).await,
    }
}

/// A body with a limit on its length and on its silences.
pub(crate) struct Incoming {
    stream: BodyDataStream,
    limit: u64,
    taken: u64,
}

impl Incoming {
    /// # Errors
    /// When the request says at once that it is longer than `limit` bytes.
    pub(crate) fn new(request: Request, limit: u64) -> Result<Incoming, Problem> {
        let announced = request
            .headers()
            .get(header::CONTENT_LENGTH)
            .and_then(|length| length.to_str().ok()?.parse().ok());
        let body: Body = request.into_body();
        if announced.is_some_and(|length: u64| length > limit) {
            return Err(Problem::too_large(limit));
        }
        Ok(Incoming { stream: body.into_data_stream(), limit, taken: 0 })
    }

    /// The next chunk; none at the end.
    ///
    /// # Errors
    /// When the body grows too long, breaks off or falls silent.
    pub(crate) async fn next(&mut self) -> Result<Option<Bytes>, Problem> {
        let chunk = match self.received().await? {
            Some(chunk) => chunk,
            None => return Ok(None),
        };
        self.taken += chunk.len() as u64;
        if self.taken > self.limit {
            self.discard().await;
            return Err(Problem::too_large(self.limit));
        }
        Ok(Some(chunk))
    }

    async fn received(&mut self) -> Result<Option<Bytes>, Problem> {
        match tokio::time::timeout(limits::BODY_SILENCE, self.stream.next()).await {
            Err(_) => Err(Problem::silence()),
            Ok(None) => Ok(None),
            Ok(Some(Ok(chunk))) => Ok(Some(chunk)),
            Ok(Some(Err(error))) => {
                tracing::debug!(%error, "a body broke off");
                Err(Problem::broken_off("The body broke off; nothing was stored. Send it again."))
            }
        }
    }

    /// Reads on for a while without keeping anything, so that the client gets
    /// to hear the answer.
    pub(crate) async fn discard(&mut self) {
        let mut left = limits::DISCARDED_BYTES;
        while let Ok(Some(chunk)) = self.received().await {
            left = left.saturating_sub(chunk.len() as u64);
            if left == 0 {
                return;
            }
        }
    }

    /// All of it.
    ///
    /// # Errors
    /// As [`Incoming::next`].
    pub(crate) async fn whole(mut self) -> Result<Vec<u8>, Problem> {
        let mut bytes = Vec::new();
        while let Some(chunk) = self.next().await? {
            bytes.extend_from_slice(&chunk);
        }
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use axum::http::StatusCode;
    use axum::response::IntoResponse;
    use futures::stream;

    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_body_that_falls_silent_is_given_up() {
        let first = stream::iter([Ok::<_, std::io::Error>(Bytes::from_static(b"time,temp\n"))]);
        let body = Body::from_stream(stream::StreamExt::chain(first, stream::pending()));
        let mut incoming = Incoming::new(Request::new(body), 1_000).unwrap();
        assert_eq!(incoming.next().await.unwrap().unwrap().len(), 10);
        let silence = incoming.next().await.unwrap_err();
        assert_eq!(silence.into_response().status(), StatusCode::REQUEST_TIMEOUT);
    }
}
