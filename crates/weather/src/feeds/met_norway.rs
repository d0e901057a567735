//! MET Norway's Locationforecast 2.0: the forecast of one cell for nine to ten
//! days, from weather models; it tells nothing of the past.
//!
//! Its terms are kept here: every request says who asks, places have four
//! decimals at most, nothing is asked for again before `Expires`, and only if
//! it changed since. The first two to three days come by the hour, the rest by
//! six hours; steps are kept as they are, moments with nothing made up between
//! them, and who joins hours takes the longer gaps for unknown. Rain is known only where it is
//! foretold by the hour.

mod answer;

use chrono::NaiveDateTime;
use model::series::Kind;
use model::time::{DAY, HOUR, Instant, MINUTE};
use reqwest::header::{EXPIRES, HeaderName, HeaderValue, IF_MODIFIED_SINCE, LAST_MODIFIED, USER_AGENT};
use reqwest::{Response, Url};
use serde::{Deserialize, Serialize};

use super::client::{asked_pause, body, given_at, past_until};
use super::fault::words;
use super::reach::Client;
use super::{Attribution, Cause, CellAnswer, CellRequest, Feed, FeedError, Fetching, check, client};

/// Name of the provider.
pub const PROVIDER: &str = "met-norway";
/// Where the service answers.
pub const DEFAULT_BASE_URL: &str = "https://api.met.no";
/// Longest answer, in bytes; one is some 100 kB.
pub const MOST_BYTES: usize = 2 * 1024 * 1024;
/// Bytes of a refusal that are read for its reason.
const MOST_REFUSAL_BYTES: usize = 64 * 1024;
/// How often a cell is asked for: the Nordic forecast is made hourly, that of
/// the world four times a day, and `Expires` holds back what would be too soon.
const INTERVAL: i64 = HOUR;
/// Longest time that an `Expires` is heeded for.
const LONGEST_WAIT: i64 = DAY;

/// 70 % of 20 a second, as the provider publishes them for one application with
/// all its instances.
const LIMITS: &[(i64, u64)] = &[(MINUTE, 840)];

/// How MET Norway is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// The service's address up to its path; [`DEFAULT_BASE_URL`] by default.
    pub base_url: String,
    /// How the provider can reach the operator, as an address or a page; stands
    /// in the `User-Agent`. Required: the service answers 403 to strangers.
    pub contact: Option<String>,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { base_url: DEFAULT_BASE_URL.to_owned(), contact: None }
    }
}

/// The feed.
#[derive(Debug, Clone)]
pub struct MetNorway {
    client: Client,
    url: Url,
    agent: HeaderValue,
}

/// What is remembered of a cell, as JSON.
#[derive(Serialize, Deserialize)]
struct Memory {
    /// The `Last-Modified` of the forecast last got, to the letter: the service
    /// compares it as text.
    last_modified: String,
}

impl MetNorway {
    /// A feed with these settings that asks through `client`, whose own
    /// `User-Agent` it replaces.
    ///
    /// # Errors
    /// [`Cause::Request`] naming the setting that is wrong or lacking.
    pub fn new(settings: Settings, client: Client) -> Result<MetNorway, Cause> {
        let path = "/weatherapi/locationforecast/2.0/compact";
        let url = check::address("base URL", &settings.base_url, path, DEFAULT_BASE_URL, client.reach())?;
        let agent = client::agent_with_contact("MET Norway", settings.contact.as_deref())?;
        Ok(MetNorway { client, url, agent })
    }

    async fn fetch_all(&self, cells: &[CellRequest], now: Instant) -> Result<Vec<CellAnswer>, FeedError> {
        check::askable(cells, self.most_cells()).map_err(|cause| FeedError::new(PROVIDER, cause, now))?;
        match cells.first() {
            Some(cell) => Ok(vec![self.ask(cell, now).await?]),
            None => Ok(Vec::new()),
        }
    }

    async fn ask(&self, cell: &CellRequest, now: Instant) -> Result<CellAnswer, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        let known = known(cell);
        let asking =
            self.client.get(self.url.clone()).map_err(|refused| failed(Cause::off_limits(refused)))?;
        let mut request = asking.query(&query(cell)).header(USER_AGENT, &self.agent);
        if let Some(known) = &known {
            request = request.header(IF_MODIFIED_SINCE, known);
        }
        let response = request.send().await.map_err(|error| failed(Cause::of(error)))?;
        let not_before = header(&response, EXPIRES).and_then(|text| expiry(&text, now));
        match response.status().as_u16() {
            status @ (200 | 203) => {
                // The data is as good as ever.
                if status == 203 {
                    let url = self.url.as_str();
                    tracing::warn!(
                        provider = PROVIDER,
                        url,
                        "answered that this product is on its way out (203): look for the one that follows it"
                    );
                }
                let memory = header(&response, LAST_MODIFIED)
                    .and_then(|last_modified| serde_json::to_string(&Memory { last_modified }).ok());
                let given_at = given_at(&response);
                let body = body(response, MOST_BYTES).await.map_err(failed)?;
                let read = answer::read(&body, cell, past_until(given_at, now)).map_err(|cause| {
                    // Before it is over, the same would come again.
                    let over = not_before.filter(|_| matches!(cause, Cause::Unfit(_)));
                    failed(cause).not_within(over.map(|at| at.since(now)), now)
                })?;
                Ok(CellAnswer { memory, not_before, given_at, ..read })
            }
            304 if known.is_some() => Ok(CellAnswer { not_before, ..CellAnswer::of(cell) }),
            304 => Err(failed(Cause::Unfit("nothing new (304), to one who knows nothing yet".to_owned()))),
            status => {
                let pause = asked_pause(&response, now);
                let body = body(response, MOST_REFUSAL_BYTES).await.unwrap_or_default();
                let reason = words(&check::unusual_refusal(&body));
                Err(failed(Cause::of_status(status, reason)).not_within(pause, now))
            }
        }
    }
}

/// Reads a forecast that the service answered with at `now`, as [`Feed::fetch`]
/// does.
///
/// # Errors
/// When it is none, or one of another place or time.
pub fn read(body: &[u8], cell: &CellRequest, now: Instant) -> Result<CellAnswer, Cause> {
    answer::read(body, cell, now)
}

impl Feed for MetNorway {
    fn provider(&self) -> &'static str {
        PROVIDER
    }

    fn kind(&self) -> Kind {
        Kind::ModelAnalysis
    }

    fn attribution(&self) -> Attribution {
        Attribution { text: "Data from MET Norway", link: "https://api.met.no/", licence: "CC BY 4.0" }
    }

    fn most_cells(&self) -> usize {
        1
    }

    fn interval(&self) -> i64 {
        INTERVAL
    }

    fn limits(&self) -> &'static [(i64, u64)] {
        LIMITS
    }

    fn cost(&self, cells: &[CellRequest], _now: Instant) -> u64 {
        cells.len() as u64
    }

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        Box::pin(self.fetch_all(cells, now))
    }
}

/// More than four decimals are refused with a 403, and heights are whole metres.
fn query(cell: &CellRequest) -> Vec<(&'static str, String)> {
    let mut query = vec![("lat", format!("{:.4}", cell.latitude)), ("lon", format!("{:.4}", cell.longitude))];
    if let Some(metres) = cell.elevation_m {
        // By way of a whole number, since -0.3 m would be written as `-0`.
        query.push(("altitude", (metres.round() as i64).to_string()));
    }
    query
}

/// The `Last-Modified` that is remembered of a cell. A memory that does not read
/// is none: the forecast is then got whole.
fn known(cell: &CellRequest) -> Option<HeaderValue> {
    let memory: Memory = serde_json::from_str(cell.memory.as_deref()?).ok()?;
    HeaderValue::from_str(&memory.last_modified).ok()
}

fn header(response: &Response, name: HeaderName) -> Option<String> {
    Some(response.headers().get(name)?.to_str().ok()?.to_owned())
}

/// When a forecast grows old, by its `Expires` in the form of RFC 7231 that
/// servers must write (`Fri, 01 May 2026 05:35:12 GMT`). None when it does not
/// read or is over.
fn expiry(text: &str, now: Instant) -> Option<Instant> {
    let at = NaiveDateTime::parse_from_str(text.trim(), "%a, %d %b %Y %H:%M:%S GMT").ok()?;
    let at = Instant(at.and_utc().timestamp());
    (at > now).then_some(at.min(now.plus(LONGEST_WAIT)))
}

#[cfg(test)]
mod tests;
