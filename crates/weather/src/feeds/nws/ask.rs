//! One request to the National Weather Service.

use model::time::{Instant, MINUTE};
use reqwest::header::{ACCEPT, IF_MODIFIED_SINCE, LAST_MODIFIED, USER_AGENT};
use reqwest::{RequestBuilder, Response, StatusCode, Url};

use super::answer::Refusal;
use super::memory::is_header_time;
use super::{Nws, PROVIDER};
use crate::feeds::client::{asked_pause, body};
use crate::feeds::fault::words;
use crate::feeds::{Cause, FeedError};

/// The form that is asked for. It is always named: answers to requests that
/// name none have come days old out of the provider's caches.
const FORM: &str = "application/geo+json";
/// Bytes of a refusal that are read for its reason.
const MOST_REFUSAL_BYTES: usize = 64 * 1024;
/// An expired grid comes back some 10 to 15 minutes later, as users saw it.
const UNTIL_NEXT_GRID: i64 = 15 * MINUTE;

/// An answer of status 200.
pub(super) struct Got {
    pub body: Vec<u8>,
    /// Its `Last-Modified`, to the letter.
    pub modified: Option<String>,
}

impl Nws {
    /// The body at `path`, at most `most` bytes.
    pub(super) async fn get(
        &self,
        path: &str,
        query: &[(&str, String)],
        most: usize,
        now: Instant,
    ) -> Result<Vec<u8>, FeedError> {
        let response = self.send(self.asking(path, now)?.query(query), now).await?;
        Ok(whole(response, most, now).await?.body)
    }

    /// The same if it is newer than `since`; none when it is not.
    pub(super) async fn get_since(
        &self,
        path: &str,
        since: Option<&str>,
        most: usize,
        now: Instant,
    ) -> Result<Option<Got>, FeedError> {
        let mut asking = self.asking(path, now)?;
        if let Some(since) = since {
            asking = asking.header(IF_MODIFIED_SINCE, since);
        }
        let response = self.send(asking, now).await?;
        if since.is_some() && response.status() == StatusCode::NOT_MODIFIED {
            return Ok(None);
        }
        whole(response, most, now).await.map(Some)
    }

    fn asking(&self, path: &str, now: Instant) -> Result<RequestBuilder, FeedError> {
        let url = Url::parse(&format!("{}{path}", self.base))
            .map_err(|error| Cause::Request(format!("{path}: {error}")))
            .and_then(|url| self.client.get(url).map_err(Cause::off_limits));
        let asking = url.map_err(|cause| FeedError::new(PROVIDER, cause, now))?;
        Ok(asking.header(ACCEPT, FORM).header(USER_AGENT, self.agent.clone()))
    }

    async fn send(&self, asking: RequestBuilder, now: Instant) -> Result<Response, FeedError> {
        asking.send().await.map_err(|error| FeedError::new(PROVIDER, Cause::of(error), now))
    }
}

/// The body of an answer of status 200; any other is an error.
async fn whole(response: Response, most: usize, now: Instant) -> Result<Got, FeedError> {
    let failed = |cause| FeedError::new(PROVIDER, cause, now);
    let status = response.status();
    if status != StatusCode::OK {
        let mut pause = asked_pause(&response, now);
        let body = body(response, MOST_REFUSAL_BYTES).await.unwrap_or_default();
        let refusal = Refusal::read(&body);
        if refusal.grid_expired {
            pause = pause.max(Some(UNTIL_NEXT_GRID));
        }
        let cause = Cause::of_status(status.as_u16(), words(&refusal.reason));
        return Err(failed(cause).not_within(pause, now));
    }
    let modified = response.headers().get(LAST_MODIFIED).and_then(|time| time.to_str().ok());
    let modified = modified.filter(|time| is_header_time(time)).map(str::to_owned);
    Ok(Got { body: body(response, most).await.map_err(failed)?, modified })
}
