//! The Deutscher Wetterdienst through Bright Sky: hourly readings of the
//! nearest station, and the point forecast (MOSMIX) for the hours ahead.
//!
//! The provider takes the nearest stations within 50 km, and fills what one does
//! not measure from the next. Readings of a station farther than
//! [`FARTHEST_READING_M`] are not taken: that is the temperature of another
//! valley. Then a cell gets its forecast and no reading. Temperatures are corrected
//! from the height that the provider states, of the station or of the forecast's
//! point, to the height asked for; the dew point is told as it is.

mod answer;

use model::series::Kind;
use model::time::{DAY, HOUR, Instant, MINUTE};
use reqwest::{StatusCode, Url};

use super::client::{asked_pause, body, given_at, past_until};
use super::fault::words;
use super::reach::Client;
use super::{Attribution, Cause, CellAnswer, CellRequest, Feed, FeedError, Fetching, check};

/// Name of the provider.
pub const PROVIDER: &str = "bright-sky";
/// Where the free service answers.
pub const DEFAULT_BASE_URL: &str = "https://api.brightsky.dev";
/// Longest answer, in bytes; eight days are some 100 kB.
pub const MOST_BYTES: usize = 2 * 1024 * 1024;
/// Farthest station whose values of the past are taken, metres.
pub const FARTHEST_READING_M: f64 = 30_000.0;
/// Days of the past that are asked for, so that an outage over a weekend fills
/// itself.
const PAST_DAYS: i64 = 3;
/// Days ahead that are asked for.
const FORECAST_DAYS: i64 = 5;
/// Bytes of a refusal that are read for its reason.
const MOST_REFUSAL_BYTES: usize = 64 * 1024;
/// How often a cell is asked for: stations report hourly.
const INTERVAL: i64 = HOUR;

/// The provider publishes no number; a modest pace.
const LIMITS: &[(i64, u64)] = &[(MINUTE, 60)];

/// How Bright Sky is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// The service's address up to its path; [`DEFAULT_BASE_URL`] by default.
    /// Own servers have others.
    pub base_url: String,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { base_url: DEFAULT_BASE_URL.to_owned() }
    }
}

/// The feed.
#[derive(Debug, Clone)]
pub struct BrightSky {
    client: Client,
    url: Url,
}

impl BrightSky {
    /// A feed with these settings that asks through `client`.
    ///
    /// # Errors
    /// [`Cause::Request`] naming the setting that is wrong.
    pub fn new(settings: Settings, client: Client) -> Result<BrightSky, Cause> {
        let url =
            check::address("base URL", &settings.base_url, "/weather", DEFAULT_BASE_URL, client.reach())?;
        Ok(BrightSky { client, url })
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
        let within = window(now);
        let query = [
            // Four decimals are 11 m, far below the way to any station.
            ("lat", format!("{:.4}", cell.latitude)),
            ("lon", format!("{:.4}", cell.longitude)),
            ("date", within.0.to_string()),
            ("last_date", within.1.to_string()),
            ("units", "dwd".to_owned()),
            ("tz", "Etc/UTC".to_owned()),
        ];
        let asking =
            self.client.get(self.url.clone()).map_err(|refused| failed(Cause::off_limits(refused)))?;
        let response = asking.query(&query).send().await.map_err(|error| failed(Cause::of(error)))?;
        let status = response.status();
        if status != StatusCode::OK {
            let pause = asked_pause(&response, now);
            let body = body(response, MOST_REFUSAL_BYTES).await.unwrap_or_default();
            let cause = Cause::of_status(status.as_u16(), words(&answer::reason(&body)));
            return Err(failed(cause).not_within(pause, now));
        }
        let given_at = given_at(&response);
        let body = body(response, MOST_BYTES).await.map_err(failed)?;
        let read = answer::read(&body, cell, within, past_until(given_at, now)).map_err(failed)?;
        Ok(CellAnswer { given_at, ..read })
    }
}

/// Reads an answer that the service gave at `now`, as [`Feed::fetch`] does.
///
/// # Errors
/// When it is none, or one for another place or time.
pub fn read(body: &[u8], cell: &CellRequest, now: Instant) -> Result<CellAnswer, Cause> {
    answer::read(body, cell, window(now), now)
}

/// First and last hour that are asked for.
fn window(now: Instant) -> (Instant, Instant) {
    let hour = Instant(now.0.div_euclid(HOUR) * HOUR);
    (hour.plus(-PAST_DAYS * DAY), hour.plus(FORECAST_DAYS * DAY))
}

impl Feed for BrightSky {
    fn provider(&self) -> &'static str {
        PROVIDER
    }

    fn kind(&self) -> Kind {
        Kind::Station
    }

    fn attribution(&self) -> Attribution {
        Attribution {
            text: "Quelle: Deutscher Wetterdienst",
            link: "https://www.dwd.de/",
            licence: "CC BY 4.0",
        }
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

#[cfg(test)]
mod tests;
