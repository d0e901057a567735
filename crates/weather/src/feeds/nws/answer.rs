//! Bodies in general: JSON or not, and the provider's words for a refusal.

use model::time::Instant;
use serde::Deserialize;

use super::interval::moment;
use crate::feeds::check::is_html;
pub(super) use crate::feeds::check::object as json;

/// A GeoJSON feature; what is not read is left out.
#[derive(Deserialize)]
pub(super) struct Feature<T> {
    pub properties: T,
}

/// When a forecast was issued: as it says, unless that lies ahead or is no time.
pub(super) fn issued(update_time: Option<&str>, now: Instant) -> Instant {
    update_time.and_then(moment).filter(|at| *at <= now).unwrap_or(now)
}

/// What a body of another status says.
pub(super) struct Refusal {
    pub reason: String,
    /// The office's grid has run out and the next is not there yet.
    pub grid_expired: bool,
}

impl Refusal {
    pub(super) fn read(body: &[u8]) -> Refusal {
        /// Problem details (RFC 7807).
        #[derive(Deserialize)]
        struct Problem {
            r#type: Option<String>,
            title: Option<String>,
            detail: Option<String>,
        }
        // Blocks come from the network before the service, as a web page.
        if is_html(body) {
            return Refusal { reason: "a web page".to_owned(), grid_expired: false };
        }
        let Ok(problem) = serde_json::from_slice::<Problem>(body) else {
            return Refusal { reason: String::from_utf8_lossy(body).into_owned(), grid_expired: false };
        };
        let said: Vec<String> = [problem.title, problem.detail].into_iter().flatten().collect();
        let grid_expired = problem.r#type.is_some_and(|kind| kind.ends_with("ForecastGridExpired"));
        Refusal { reason: said.join(": "), grid_expired }
    }
}
