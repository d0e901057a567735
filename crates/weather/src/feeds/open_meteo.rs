//! Open-Meteo: recent past and forecast of several cells in one request; beside
//! them the members of an ensemble and the archive of past years.
//!
//! Its hourly temperature is that of the moment, from weather models, not from
//! a thermometer; rain and gusts are those of the hour before. Times are asked for in Unix seconds of GMT, since the local
//! times it gives carry one offset for the whole answer.

mod answer;
mod archive;
mod ensemble;

use std::fmt;

use model::series::Kind;
use model::time::{DAY, HOUR, Instant, MINUTE};
use reqwest::header::HeaderValue;
use reqwest::{StatusCode, Url};

use super::client::{asked_pause, body, given_at, past_until};
use super::fault::words;
use super::reach::Client;
use super::{Attribution, Cause, CellAnswer, CellRequest, Feed, FeedError, Fetching, check};

pub use archive::MOST_ARCHIVE_DAYS;
pub use ensemble::Members;

/// Name of the provider.
pub const PROVIDER: &str = "open-meteo";
/// Where the free service answers.
pub const DEFAULT_BASE_URL: &str = "https://api.open-meteo.com";
/// Where the free service answers for ensembles.
pub const DEFAULT_ENSEMBLE_URL: &str = "https://ensemble-api.open-meteo.com";
/// Where the free service answers for past years.
pub const DEFAULT_ARCHIVE_URL: &str = "https://archive-api.open-meteo.com";
/// The ensemble of the Deutscher Wetterdienst, up to 40 members, of its finest
/// model that reaches the place and the hour.
pub const DEFAULT_MODELS: &str = "icon_seamless_eps";
/// Cells of one request: the provider takes 1,000, and 100 keep the address
/// short and one refused cell from holding up many.
pub const MOST_CELLS: usize = 100;
/// Longest answer, in bytes. One hundred cells of 108 days are some 11 MB, of
/// 16 days of 51 members some 12 MB.
pub const MOST_BYTES: usize = 16 * 1024 * 1024;
/// Longest answer for one cell, in bytes: each of those is some 120 kB of it, a
/// year of the archive some 180 kB.
pub const MOST_BYTES_OF_A_CELL: usize = 256 * 1024;
/// Farthest past that the provider gives, days.
pub const MOST_PAST_DAYS: u32 = 92;
/// Farthest forecast that the provider gives, days.
pub const MOST_FORECAST_DAYS: u32 = 16;
/// Bytes of a refusal that are read for its reason.
const MOST_REFUSAL_BYTES: usize = 64 * 1024;
/// What is asked for of each hour.
const HOURLY: &str =
    "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,wind_speed_10m,wind_gusts_10m";
/// 70 % of 600 a minute, 5,000 an hour, 10,000 a day, as the free service
/// publishes them.
const LIMITS: &[(i64, u64)] = &[(MINUTE, 420), (HOUR, 3_500), (DAY, 7_000)];
/// How often a cell is asked for: its models run hourly to six-hourly.
const INTERVAL: i64 = HOUR;
/// How often the members of a cell are asked for: ensembles run every six to twelve
/// hours.
const MEMBERS_EVERY: i64 = 6 * HOUR;
/// After members could not be had they are asked for again so much later.
const MEMBERS_AGAIN: i64 = HOUR;
/// What the 40 members of the default model count against the limits.
const COST_OF_MEMBERS: u64 = 4;

/// A key that is shown nowhere.
#[derive(Clone, PartialEq, Eq)]
pub struct ApiKey(String);

impl ApiKey {
    /// Takes a key.
    pub fn new(key: impl Into<String>) -> ApiKey {
        ApiKey(key.into())
    }
}

impl fmt::Debug for ApiKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("ApiKey(…)")
    }
}

/// How Open-Meteo is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// The service's address up to its path; [`DEFAULT_BASE_URL`] by default.
    /// Paying users and own servers have others.
    pub base_url: String,
    /// The same of its ensembles; [`DEFAULT_ENSEMBLE_URL`] by default.
    pub ensemble_url: String,
    /// The same of its archive; [`DEFAULT_ARCHIVE_URL`] by default.
    pub archive_url: String,
    /// The one ensemble model that members are asked of, by the provider's name
    /// for it; [`DEFAULT_MODELS`] by default.
    pub models: String,
    /// Whether members are asked for along with a fetch, four times a day; not by
    /// default: an own server may have none.
    pub members: bool,
    /// Key of a paying user; goes to all three addresses.
    pub api_key: Option<ApiKey>,
    /// Days of the past to ask for, 0 to 92; 3 by default, so that an outage
    /// over a weekend fills itself.
    pub past_days: u32,
    /// Days of forecast to ask for, today included, 1 to 16; 5 by default.
    pub forecast_days: u32,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            base_url: DEFAULT_BASE_URL.to_owned(),
            ensemble_url: DEFAULT_ENSEMBLE_URL.to_owned(),
            archive_url: DEFAULT_ARCHIVE_URL.to_owned(),
            models: DEFAULT_MODELS.to_owned(),
            members: false,
            api_key: None,
            past_days: 3,
            forecast_days: 5,
        }
    }
}

/// The feed.
#[derive(Debug, Clone)]
pub struct OpenMeteo {
    client: Client,
    url: Url,
    ensemble_url: Url,
    archive_url: Url,
    models: String,
    with_members: bool,
    key: Option<HeaderValue>,
    key_text: Option<ApiKey>,
    past_days: u32,
    forecast_days: u32,
}

impl OpenMeteo {
    /// A feed with these settings that asks through `client`.
    ///
    /// # Errors
    /// [`Cause::Request`] naming the setting that is wrong.
    pub fn new(settings: Settings, client: Client) -> Result<OpenMeteo, Cause> {
        let wrong = |text: String| Err(Cause::Request(text));
        let address = check::address;
        let url = address("base URL", &settings.base_url, "/v1/forecast", DEFAULT_BASE_URL, client.reach())?;
        let ensemble_url = address(
            "ensemble URL",
            &settings.ensemble_url,
            "/v1/ensemble",
            DEFAULT_ENSEMBLE_URL,
            client.reach(),
        )?;
        let archive_url = address(
            "archive URL",
            &settings.archive_url,
            "/v1/archive",
            DEFAULT_ARCHIVE_URL,
            client.reach(),
        )?;
        let models = settings.models.trim().to_owned();
        // Of several, the provider would name the members in another way.
        if models.is_empty() || !models.bytes().all(|sign| sign.is_ascii_alphanumeric() || sign == b'_') {
            return wrong(format!("ensemble model: expected one name like {DEFAULT_MODELS}"));
        }
        if settings.past_days > MOST_PAST_DAYS {
            return wrong(format!("past days: {} is outside 0 to {MOST_PAST_DAYS}", settings.past_days));
        }
        if !(1..=MOST_FORECAST_DAYS).contains(&settings.forecast_days) {
            return wrong(format!(
                "forecast days: {} is outside 1 to {MOST_FORECAST_DAYS}",
                settings.forecast_days
            ));
        }
        let key = match settings.api_key.as_ref().map(|key| HeaderValue::from_str(key.0.trim())) {
            Some(Err(_)) => return wrong("API key: has signs that no key has".to_owned()),
            Some(Ok(mut key)) => {
                key.set_sensitive(true);
                Some(key)
            }
            None => None,
        };
        Ok(OpenMeteo {
            client,
            url,
            ensemble_url,
            archive_url,
            models,
            with_members: settings.members,
            key,
            key_text: settings.api_key,
            past_days: settings.past_days,
            forecast_days: settings.forecast_days,
        })
    }

    async fn fetch_all(&self, cells: &[CellRequest], now: Instant) -> Result<Vec<CellAnswer>, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        check::askable(cells, MOST_CELLS).map_err(failed)?;
        let mut answers = Vec::with_capacity(cells.len());
        for part in parts(cells) {
            let (numbers, asked): (Vec<usize>, Vec<&CellRequest>) = part.into_iter().unzip();
            if asked.is_empty() {
                continue;
            }
            let mut query = places(&asked);
            query.push(("hourly", HOURLY.to_owned()));
            query.push(("wind_speed_unit", "ms".to_owned()));
            query.push(("past_days", self.past_days.to_string()));
            query.push(("forecast_days", self.forecast_days.to_string()));
            let (body, given_at) = self.get(&self.url, &query, asked.len(), now).await?;
            let then = past_until(given_at, now);
            let within = self.window(self.past_days, then);
            let read = answer::read(&body, &asked, within, then).map_err(failed)?;
            let read = read.into_iter().map(|answer| CellAnswer { given_at, ..answer });
            answers.extend(std::iter::zip(numbers, read));
        }
        Ok(in_order(answers))
    }

    /// The body of an answer of status 200 for so many cells, and when it was given.
    async fn get(
        &self,
        url: &Url,
        query: &[(&str, String)],
        cells: usize,
        now: Instant,
    ) -> Result<(Vec<u8>, Option<Instant>), FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        let asking = self.client.get(url.clone()).map_err(|refused| failed(Cause::off_limits(refused)))?;
        let mut request = asking.query(query);
        if let Some(key) = &self.key {
            request = request.header("X-Api-Key", key);
        }
        let response = request.send().await.map_err(|error| failed(Cause::of(error)))?;
        let status = response.status();
        if status != StatusCode::OK {
            let pause = asked_pause(&response, now);
            let body = body(response, MOST_REFUSAL_BYTES).await.unwrap_or_default();
            let reason = self.without_key(&answer::reason(&body));
            return Err(failed(Cause::of_status(status.as_u16(), reason)).not_within(pause, now));
        }
        let given_at = given_at(&response);
        let body = body(response, MOST_BYTES.min(cells * MOST_BYTES_OF_A_CELL)).await.map_err(failed)?;
        Ok((body, given_at))
    }

    /// Between which moments an answer may lie: whole days around today, by the
    /// provider's clock, which near midnight may show another day than ours.
    fn window(&self, past_days: u32, now: Instant) -> (Instant, Instant) {
        let days = |days: u32| (i64::from(days) + 1) * DAY;
        let midnight = Instant(now.0.div_euclid(DAY) * DAY);
        (midnight.plus(-days(past_days)), midnight.plus(days(self.forecast_days)))
    }

    /// A provider's words, without the key that they may repeat.
    fn without_key(&self, text: &str) -> String {
        match &self.key_text {
            Some(ApiKey(key)) if !key.trim().is_empty() => words(&text.replace(key.trim(), "…")),
            _ => words(text),
        }
    }
}

/// Reads an answer that the service gave for these cells, all with a height or all
/// without, at `now`, as [`Feed::fetch`] does. `within` are the first and the last
/// moment that were asked for.
///
/// # Errors
/// When it is none, or one for other places or times.
pub fn read(
    body: &[u8],
    cells: &[CellRequest],
    within: (Instant, Instant),
    now: Instant,
) -> Result<Vec<CellAnswer>, Cause> {
    answer::read(body, &cells.iter().collect::<Vec<_>>(), within, now)
}

impl Feed for OpenMeteo {
    fn provider(&self) -> &'static str {
        PROVIDER
    }

    fn kind(&self) -> Kind {
        Kind::ModelAnalysis
    }

    fn attribution(&self) -> Attribution {
        Attribution {
            text: "Weather data by Open-Meteo.com",
            link: "https://open-meteo.com/",
            licence: "CC BY 4.0",
        }
    }

    fn most_cells(&self) -> usize {
        MOST_CELLS
    }

    fn interval(&self) -> i64 {
        INTERVAL
    }

    fn limits(&self) -> &'static [(i64, u64)] {
        LIMITS
    }

    /// Each place counts one, whichever way it is asked for, as long as it is asked
    /// for at most ten variables of two weeks. An ensemble counts a tenth of its
    /// members.
    fn cost(&self, cells: &[CellRequest], now: Instant) -> u64 {
        let with_members = cells.iter().filter(|cell| self.wants_members(cell, now)).count();
        cells.len() as u64 + COST_OF_MEMBERS * with_members as u64
    }

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        Box::pin(async move {
            let mut answers = self.fetch_all(cells, now).await?;
            self.add_members(cells, &mut answers, now).await;
            Ok(answers)
        })
    }
}

/// The cells that can be asked for together, each with its number: a list of
/// heights must be as long as that of places, so cells without one are asked
/// for on their own, and get the provider's height.
fn parts(cells: &[CellRequest]) -> [Vec<(usize, &CellRequest)>; 2] {
    let (with, without) = cells.iter().enumerate().partition(|(_, cell)| cell.elevation_m.is_some());
    [with, without]
}

/// The answers for all parts in the order of the cells.
fn in_order<T>(mut answers: Vec<(usize, T)>) -> Vec<T> {
    answers.sort_by_key(|(number, _)| *number);
    answers.into_iter().map(|(_, answer)| answer).collect()
}

/// Where to ask for, and how times are to be written.
fn places(cells: &[&CellRequest]) -> Vec<(&'static str, String)> {
    let list =
        |of: &dyn Fn(&CellRequest) -> String| cells.iter().map(|cell| of(cell)).collect::<Vec<_>>().join(",");
    let mut query = vec![
        // Four decimals are 11 m, far below any grid.
        ("latitude", list(&|cell| format!("{:.4}", cell.latitude))),
        ("longitude", list(&|cell| format!("{:.4}", cell.longitude))),
        ("timezone", "GMT".to_owned()),
        ("timeformat", "unixtime".to_owned()),
    ];
    if cells.iter().all(|cell| cell.elevation_m.is_some()) {
        let height =
            |cell: &CellRequest| cell.elevation_m.map_or(String::new(), |metres| format!("{metres:.0}"));
        query.push(("elevation", list(&height)));
    }
    query
}

#[cfg(test)]
mod tests;
