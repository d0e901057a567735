//! What pages load beside themselves: style, icon, scripts. Each address bears the hash
//! of all of it, so a browser may keep it for ever and a new version is another address.

use std::sync::OnceLock;

use axum::extract::Path;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;
use sha2::{Digest, Sha256};

use crate::pages;
use crate::words::english;

/// So long a browser keeps what never changes under its address.
const FOR_EVER: HeaderValue = HeaderValue::from_static("public, max-age=31536000, immutable");
/// Bytes of the hash in an address.
const HASH_BYTES: usize = 8;

const CSS: &str = "text/css; charset=utf-8";
const SVG: &str = "image/svg+xml";
const PNG: &str = "image/png";
const JS: &str = "text/javascript; charset=utf-8";

/// Name, type and content of each.
const ALL: &[(&str, &str, &[u8])] = &[
    ("look.css", CSS, include_bytes!("../assets/look.css")),
    ("icon.svg", SVG, include_bytes!("../assets/icon.svg")),
    ("icon-192.png", PNG, include_bytes!("../assets/icon-192.png")),
    ("icon-512.png", PNG, include_bytes!("../assets/icon-512.png")),
    ("orchard.js", JS, include_bytes!("../assets/orchard.js")),
    ("bar.js", JS, include_bytes!("../assets/bar.js")),
    ("base.js", JS, include_bytes!("../assets/base.js")),
    ("clock.js", JS, include_bytes!("../assets/clock.js")),
    ("closed.js", JS, include_bytes!("../assets/closed.js")),
    ("counter.js", JS, include_bytes!("../assets/counter.js")),
    ("counting.js", JS, include_bytes!("../assets/counting.js")),
    ("earlier.js", JS, include_bytes!("../assets/earlier.js")),
    ("elements.js", JS, include_bytes!("../assets/elements.js")),
    ("entry.js", JS, include_bytes!("../assets/entry.js")),
    ("file.js", JS, include_bytes!("../assets/file.js")),
    ("numbers.js", JS, include_bytes!("../assets/numbers.js")),
    ("offline.js", JS, include_bytes!("../assets/offline.js")),
    ("sending.js", JS, include_bytes!("../assets/sending.js")),
    ("stepper.js", JS, include_bytes!("../assets/stepper.js")),
    ("uuid.js", JS, include_bytes!("../assets/uuid.js")),
    ("values.js", JS, include_bytes!("../assets/values.js")),
    ("wall.js", JS, include_bytes!("../assets/wall.js")),
    ("words.js", JS, include_bytes!("../assets/words.js")),
    ("writing.js", JS, include_bytes!("../assets/writing.js")),
];

/// What the worker is put together from, in this order: a worker that browsers of all
/// kinds run cannot import modules.
const WORKER: [&str; 4] = [
    include_str!("../assets/base.js"),
    include_str!("../assets/clock.js"),
    include_str!("../assets/sending.js"),
    include_str!("../assets/worker.js"),
];

/// The words of the scripts as a module, by its name.
const WORDS: &str = "words-en.js";

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
        all.update(spoken());
        all.update(include_bytes!("../assets/worker.js"));
        all.finalize().iter().take(HASH_BYTES).map(|byte| format!("{byte:02x}")).collect()
    })
}

/// The address of one by its name.
pub(crate) fn address(name: &str) -> String {
    format!("/assets/{}/{name}", hash())
}

fn spoken() -> &'static str {
    static SPOKEN: OnceLock<String> = OnceLock::new();
    SPOKEN.get_or_init(|| format!("export default {};\n", english().of("phone")))
}

/// The service worker, which knows every file of this version.
pub(crate) async fn worker() -> Response {
    static WHOLE: OnceLock<String> = OnceLock::new();
    let whole = WHOLE.get_or_init(|| {
        let names = ALL.iter().map(|(name, ..)| *name).chain([WORDS]);
        let files: Vec<String> = names.map(address).collect();
        let mut whole = format!("const VERSION = {:?};\nconst FILES = {};\n", hash(), json!(files));
        for line in WORKER.iter().flat_map(|part| part.lines()).filter(|line| !line.starts_with("import ")) {
            whole.push_str(line.strip_prefix("export ").unwrap_or(line));
            whole.push('\n');
        }
        whole
    });
    ([(header::CONTENT_TYPE, HeaderValue::from_static(JS))], whole.as_str()).into_response()
}

/// What a phone has to know to put the pages on its home screen.
pub(crate) async fn manifest() -> Response {
    let icon =
        |name: &str, kind: &str, sizes: &str| json!({"src": address(name), "type": kind, "sizes": sizes});
    let manifest = json!({
        "name": "bloomtide",
        "short_name": "bloomtide",
        "id": "/today",
        "start_url": "/today",
        "scope": "/",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#14532d",
        "icons": [
            icon("icon-192.png", PNG, "192x192"),
            icon("icon-512.png", PNG, "512x512"),
            icon("icon.svg", SVG, "any"),
        ],
    });
    let kind = HeaderValue::from_static("application/manifest+json");
    ([(header::CONTENT_TYPE, kind)], manifest.to_string()).into_response()
}

/// One of them. An address of another version is not there: what it named is gone.
pub(crate) async fn one(Path((version, name)): Path<(String, String)>) -> Response {
    let of_ours = ALL.iter().find(|(known, ..)| *known == name).map(|(_, kind, content)| (*kind, *content));
    let found = of_ours.or_else(|| (name == WORDS).then(|| (JS, spoken().as_bytes())));
    match found.filter(|_| version == hash()) {
        Some((kind, content)) => {
            let kind = HeaderValue::from_static(kind);
            ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, FOR_EVER)], content).into_response()
        }
        None => pages::refused(StatusCode::NOT_FOUND, english().get("refused.other_version")),
    }
}
