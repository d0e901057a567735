//! Pages that a browser keeps for whoever is signed in, and asks for anew each time:
//! where nothing has changed no page travels. And all text travels packed, since many
//! orchards have little signal.

use std::io::Write;

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use flate2::Compression;
use flate2::write::GzEncoder;
use sha2::{Digest, Sha256};

/// Bytes of the hash in a tag.
const TAG_BYTES: usize = 16;
/// Less than this is sent as it is: packed it would hardly be smaller.
const WORTH_PACKING: usize = 1_024;
/// Level of packing: beyond it time rises faster than size falls.
const LEVEL: u32 = 4;
/// One's own, and asked for again each time.
const OWN: HeaderValue = HeaderValue::from_static("private, no-cache");

/// Tags a page by its bytes, and answers 304 to who has it.
pub(crate) async fn tagged(request: Request, next: Next) -> Response {
    if request.method() != Method::GET {
        return next.run(request).await;
    }
    let held: Vec<String> = listed(request.headers(), &header::IF_NONE_MATCH).collect();
    let response = next.run(request).await;
    if response.status() != StatusCode::OK {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Some(body) = whole(body).await else { return StatusCode::INTERNAL_SERVER_ERROR.into_response() };
    let hash: String = Sha256::digest(&body)[..TAG_BYTES].iter().map(|byte| format!("{byte:02x}")).collect();
    let tag = format!("\"{hash}\"");
    parts.headers.insert(header::CACHE_CONTROL, OWN);
    // Weak, since what is packed are other bytes of the same page.
    if let Ok(value) = HeaderValue::from_str(&format!("W/{tag}")) {
        parts.headers.insert(header::ETAG, value);
    }
    if held.iter().any(|held| held == "*" || held.trim_start_matches("W/") == tag) {
        parts.status = StatusCode::NOT_MODIFIED;
        parts.headers.remove(header::CONTENT_TYPE);
        parts.headers.remove(header::CONTENT_LENGTH);
        return Response::from_parts(parts, Body::empty());
    }
    Response::from_parts(parts, Body::from(body))
}

/// Packs what is text, for who takes it so.
pub(crate) async fn packed(request: Request, next: Next) -> Response {
    let takes = request.method() == Method::GET && takes_gzip(request.headers());
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let text = kind.is_some_and(|kind| {
        ["text/", "image/svg", "application/json", "application/manifest"]
            .iter()
            .any(|of| kind.starts_with(of))
    });
    if !text || response.headers().contains_key(header::CONTENT_ENCODING) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    parts.headers.append(header::VARY, HeaderValue::from_static("accept-encoding"));
    if !takes {
        return Response::from_parts(parts, body);
    }
    let Some(body) = whole(body).await else { return StatusCode::INTERNAL_SERVER_ERROR.into_response() };
    if body.len() < WORTH_PACKING {
        return Response::from_parts(parts, Body::from(body));
    }
    match pack(&body) {
        Ok(packed) => {
            parts.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
            parts.headers.remove(header::CONTENT_LENGTH);
            Response::from_parts(parts, Body::from(packed))
        }
        Err(error) => {
            tracing::error!(%error, "a page could not be packed and went out as it is");
            Response::from_parts(parts, Body::from(body))
        }
    }
}

fn pack(body: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut packer = GzEncoder::new(Vec::with_capacity(body.len() / 4), Compression::new(LEVEL));
    packer.write_all(body)?;
    packer.finish()
}

/// The bytes of a page, which is in memory whole.
async fn whole(body: Body) -> Option<Bytes> {
    match to_bytes(body, usize::MAX).await {
        Ok(body) => Some(body),
        Err(error) => {
            tracing::error!(%error, "a page broke off");
            None
        }
    }
}

/// The members of a header's list.
fn listed<'a>(headers: &'a HeaderMap, name: &HeaderName) -> impl Iterator<Item = String> + 'a {
    let values = headers.get_all(name).into_iter().filter_map(|value| value.to_str().ok());
    values.flat_map(|value| value.split(',')).map(|one| one.trim().to_owned())
}

/// Whether gzip is among what is taken, and not at no weight at all.
fn takes_gzip(headers: &HeaderMap) -> bool {
    listed(headers, &header::ACCEPT_ENCODING).any(|one| {
        let (name, weight) = one.split_once(';').unwrap_or((&one, ""));
        let none = weight.trim().strip_prefix("q=").and_then(|q| q.parse::<f64>().ok()) == Some(0.0);
        name.trim().eq_ignore_ascii_case("gzip") && !none
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_who_takes_gzip_gets_it() {
        let of = |value: &'static str| {
            takes_gzip(&HeaderMap::from_iter([(header::ACCEPT_ENCODING, HeaderValue::from_static(value))]))
        };
        assert!(of("gzip, deflate, br") && of("br;q=1.0, GZIP;q=0.5"));
        assert!(!of("gzip;q=0") && !of("br") && !of("identity") && !takes_gzip(&HeaderMap::new()));
    }
}
