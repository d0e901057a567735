//! Open-Meteo: recent past and forecast of several cells in one request.
//!
//! Its hourly temperature is that of the moment, from weather models, not from
//! a thermometer. Times are asked for in Unix seconds of GMT, since the local
//! times it gives carry one offset for the whole answer.

mod answer;

use std::fmt;

use model::series::Kind;
use model::time::{HOUR, Instant};
use reqwest::header::HeaderValue;
use reqwest::{Client, StatusCode, Url};

use super::client::{asked_pause, body};
use super::fault::words;
use super::{Attribution, Cause, CellAnswer, CellRequest, Feed, FeedError, Fetching};

/// Name of the provider.
pub const PROVIDER: &str = "open-meteo";
/// Where the free service answers.
pub const DEFAULT_BASE_URL: &str = "https://api.open-meteo.com";
/// Cells of one request: the provider takes 1,000, and 100 keep the address
/// short and one refused cell from holding up many.
pub const MOST_CELLS: usize = 100;
/// Longest answer, in bytes. One hundred cells of 108 days are some 4.5 MB.
pub const MOST_BYTES: usize = 8 * 1024 * 1024;
/// Farthest past that the provider gives, days.
pub const MOST_PAST_DAYS: u32 = 92;
/// Farthest forecast that the provider gives, days.
pub const MOST_FORECAST_DAYS: u32 = 16;
/// Bytes of a refusal that are read for its reason.
const MOST_REFUSAL_BYTES: usize = 64 * 1024;
/// How often a cell is asked for: its models run hourly to six-hourly.
const INTERVAL: i64 = HOUR;

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
    /// Key of a paying user.
    pub api_key: Option<ApiKey>,
    /// Days of the past to ask for, 0 to 92; 3 by default, so that an outage
    /// over a weekend fills itself.
    pub past_days: u32,
    /// Days of forecast to ask for, today included, 1 to 16; 5 by default.
    pub forecast_days: u32,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { base_url: DEFAULT_BASE_URL.to_owned(), api_key: None, past_days: 3, forecast_days: 5 }
    }
}

/// The feed.
#[derive(Debug, Clone)]
pub struct OpenMeteo {
    client: Client,
    url: Url,
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
        let address = format!("{}/v1/forecast", settings.base_url.trim().trim_end_matches('/'));
        let url = match Url::parse(&address) {
            Ok(url)
                if matches!(url.scheme(), "http" | "https")
                    && url.query().is_none()
                    && url.fragment().is_none() =>
            {
                url
            }
            _ => {
                return wrong(format!("base URL: expected an address like {DEFAULT_BASE_URL}"));
            }
        };
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
            key,
            key_text: settings.api_key,
            past_days: settings.past_days,
            forecast_days: settings.forecast_days,
        })
    }

    async fn fetch_all(&self, cells: &[CellRequest], now: Instant) -> Result<Vec<CellAnswer>, FeedError> {
        if let Err(cause) = askable(cells) {
            return Err(FeedError::new(PROVIDER, cause, now));
        }
        // A list of heights must be as long as that of places: cells without
        // one are asked for on their own, and get the provider's height.
        let (with, without): (Vec<_>, Vec<_>) =
            cells.iter().enumerate().partition(|(_, cell)| cell.elevation_m.is_some());
        let mut answers = Vec::with_capacity(cells.len());
        for part in [with, without] {
            let (places, asked): (Vec<usize>, Vec<&CellRequest>) = part.into_iter().unzip();
            if !asked.is_empty() {
                answers.extend(std::iter::zip(places, self.ask(&asked, now).await?));
            }
        }
        answers.sort_by_key(|(place, _)| *place);
        Ok(answers.into_iter().map(|(_, answer)| answer).collect())
    }

    async fn ask(&self, cells: &[&CellRequest], now: Instant) -> Result<Vec<CellAnswer>, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        let mut request = self.client.get(self.url.clone()).query(&self.query(cells));
        if let Some(key) = &self.key {
            request = request.header("X-Api-Key", key);
        }
        let response = request.send().await.map_err(|error| failed(Cause::of(error)))?;
        let status = response.status();
        if status != StatusCode::OK {
            let pause = asked_pause(&response);
            let body = body(response, MOST_REFUSAL_BYTES).await.unwrap_or_default();
            let reason = self.without_key(&answer::reason(&body));
            return Err(failed(Cause::of_status(status.as_u16(), reason)).not_within(pause, now));
        }
        let body = body(response, MOST_BYTES).await.map_err(failed)?;
        answer::read(&body, cells, now).map_err(failed)
    }

    fn query(&self, cells: &[&CellRequest]) -> Vec<(&'static str, String)> {
        // Four decimals are 11 m, far below any grid.
        let list = |of: &dyn Fn(&CellRequest) -> String| {
            cells.iter().map(|cell| of(cell)).collect::<Vec<_>>().join(",")
        };
        let mut query = vec![
            ("latitude", list(&|cell| format!("{:.4}", cell.latitude))),
            ("longitude", list(&|cell| format!("{:.4}", cell.longitude))),
            ("hourly", "temperature_2m".to_owned()),
            ("timezone", "GMT".to_owned()),
            ("timeformat", "unixtime".to_owned()),
            ("past_days", self.past_days.to_string()),
            ("forecast_days", self.forecast_days.to_string()),
        ];
        if cells.iter().all(|cell| cell.elevation_m.is_some()) {
            let height =
                |cell: &CellRequest| cell.elevation_m.map_or(String::new(), |metres| format!("{metres:.0}"));
            query.push(("elevation", list(&height)));
        }
        query
    }

    /// A provider's words, without the key that they may repeat.
    fn without_key(&self, text: &str) -> String {
        match &self.key_text {
            Some(ApiKey(key)) if !key.trim().is_empty() => words(&text.replace(key.trim(), "…")),
            _ => words(text),
        }
    }
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

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        Box::pin(self.fetch_all(cells, now))
    }
}

/// Whether these cells can be asked for in one request.
fn askable(cells: &[CellRequest]) -> Result<(), Cause> {
    if cells.len() > MOST_CELLS {
        return Err(Cause::Request(format!("{} cells at once; at most {MOST_CELLS}", cells.len())));
    }
    let nowhere = cells.iter().find(|cell| {
        !(cell.latitude.abs() <= 90.0 && cell.longitude.abs() <= 180.0)
            || cell.elevation_m.is_some_and(|metres| !metres.is_finite())
    });
    match nowhere {
        None => Ok(()),
        Some(cell) => Err(Cause::Request(format!("cell {} lies nowhere on the map", cell.cell))),
    }
}

#[cfg(test)]
mod tests;
