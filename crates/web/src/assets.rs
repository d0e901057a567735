//! What pages load beside themselves: style, icon, scripts. Each address bears the hash
//! of all of it, so a browser may keep it for ever and a new version is another address.

use std::sync::OnceLock;

use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

use crate::pages;

/// So long a browser keeps what never changes under its address.
const FOR_EVER: HeaderValue = HeaderValue::from_static("public, max-age=31536000, immutable");
/// Bytes of the hash in an address.
const HASH_BYTES: usize = 8;

const CSS: &str = "text/css; charset=utf-8";
const SVG: &str = "image/svg+xml";

/// Name, type and content of each.
const ALL: &[(&str, &str, &[u8])] = &[
    ("look.css", CSS, include_bytes!("../assets/look.css")),
    ("icon.svg", SVG, include_bytes!("../assets/icon.svg")),
];

/// The hash of all of it.
pub(crate) fn hash() -> &'static str {
    static HASH: OnceLock<String> = OnceLock::new();
    HASH.get_or_init(|| {
        let mut all = Sha256::new();
        for (name, _, content) in ALL {
            all.update(name);
            all.update(content.len().to_be_bytes());
            all.update(content);
        }
        all.finalize().iter().take(HASH_BYTES).map(|byte| format!("{byte:02x}")).collect()
    })
}

/// The address of one by its name.
pub(crate) fn address(name: &str) -> String {
    format!("/assets/{}/{name}", hash())
}

/// One of them. An address of another version is not there: what it named is gone.
pub(crate) async fn one(Path((version, name)): Path<(String, String)>) -> Response {
    match ALL.iter().find(|(known, ..)| version == hash() && *known == name) {
        Some((_, kind, content)) => {
            let kind = HeaderValue::from_static(kind);
            ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, FOR_EVER)], *content).into_response()
        }
        None => {
            pages::refused(StatusCode::NOT_FOUND, "This file is of another version; load the page again.")
        }
    }
}
