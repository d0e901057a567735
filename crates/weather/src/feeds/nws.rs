//! US National Weather Service: readings of the nearest station, and the
//! forecast of the grid square that a place lies in.
//!
//! A place is looked up once: its square and its station are remembered, and
//! asked for anew when either is gone (404) or the station has been silent for
//! the whole window. The square is asked for with the time of what was read
//! last; when nothing is newer there is no forecast in the answer.
//!
//! Station and forecast are two requests, of which one may fail. What came is
//! then answered, and the other part is asked for again by the next fetch: the
//! window of observations reaches over three days, and what is remembered of
//! the forecast moves on only when it was read. An error is given only when
//! nothing came.
//!
//! Temperatures are corrected from the height that the provider states, of the
//! station or of the square, to the height asked for.

mod answer;
mod ask;
mod grid;
mod hourly;
mod interval;
mod memory;
mod observations;
mod parts;
mod place;
mod quantity;

use model::series::{Forecast, Kind};
use model::time::{HOUR, Instant, MINUTE};
use reqwest::header::HeaderValue;

use self::ask::Got;
use self::grid::Foretold;
use self::memory::{Memory, Station};
use self::observations::Observed;
use self::parts::{Parts, is_gone};
use super::fault::words;
use super::reach::Client;
use super::{Attribution, Cause, CellAnswer, CellRequest, Feed, FeedError, Fetching, check, client};

/// Name of the provider.
pub const PROVIDER: &str = "nws";
/// Where the service answers.
pub const DEFAULT_BASE_URL: &str = "https://api.weather.gov";
/// Hours of observations that are asked for: an outage over a weekend fills
/// itself. The provider keeps a few days at most.
pub const WINDOW_HOURS: i64 = 72;
/// Observations in one answer; the most that the provider gives.
pub const MOST_OBSERVATIONS: usize = 500;
/// How far ahead an hour of a forecast may lie; the provider gives some eight days.
pub const MOST_AHEAD: i64 = 16 * 24 * HOUR;
/// Longest grid square, in bytes; common ones are some 300 kB.
pub const MOST_GRID_BYTES: usize = 2 * 1024 * 1024;
/// Longest answer with observations, in bytes: [`MOST_OBSERVATIONS`] of some 5 kB.
pub const MOST_OBSERVATIONS_BYTES: usize = 4 * 1024 * 1024;
/// Longest answer about a place or its stations, in bytes.
const MOST_PLACE_BYTES: usize = 1024 * 1024;
/// Stations that are looked at, the nearest first, for one that tells something.
const MOST_STATIONS: usize = 3;
/// How often a cell is asked for: stations report once an hour and oftener.
const INTERVAL: i64 = HOUR;
/// How far behind the last one read observations may still be added or changed.
const FILLED_IN_LATER: i64 = 3 * HOUR;

/// The provider publishes no number; a request a second is far below what others
/// were slowed down for.
const LIMITS: &[(i64, u64)] = &[(MINUTE, 60)];

/// How the National Weather Service is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// The service's address up to its path; [`DEFAULT_BASE_URL`] by default.
    pub base_url: String,
    /// How the provider can reach the operator, as an address or a page. It
    /// stands in the `User-Agent`; without one the provider refuses.
    pub contact: String,
}

impl Default for Settings {
    /// Without a contact, which has no default.
    fn default() -> Self {
        Settings { base_url: DEFAULT_BASE_URL.to_owned(), contact: String::new() }
    }
}

/// The feed.
#[derive(Debug, Clone)]
pub struct Nws {
    client: Client,
    /// Without a slash at the end.
    base: String,
    agent: HeaderValue,
}

impl Nws {
    /// A feed with these settings that asks through `client`.
    ///
    /// # Errors
    /// [`Cause::Request`] naming the setting that is wrong or lacking.
    pub fn new(settings: Settings, client: Client) -> Result<Nws, Cause> {
        check::address("base URL", &settings.base_url, "", DEFAULT_BASE_URL, client.reach())?;
        let base = settings.base_url.trim().trim_end_matches('/').to_owned();
        let agent = client::agent_with_contact("the National Weather Service", Some(&settings.contact))?;
        Ok(Nws { client, base, agent })
    }

    async fn fetch_all(&self, cells: &[CellRequest], now: Instant) -> Result<Vec<CellAnswer>, FeedError> {
        check::askable(cells, self.most_cells()).map_err(|cause| FeedError::new(PROVIDER, cause, now))?;
        let mut answers = Vec::with_capacity(cells.len());
        for cell in cells {
            answers.push(self.fetch_cell(cell, now).await?);
        }
        Ok(answers)
    }

    async fn fetch_cell(&self, cell: &CellRequest, now: Instant) -> Result<CellAnswer, FeedError> {
        let mut before = None;
        if let Some(memory) = cell.memory.as_deref().and_then(Memory::read) {
            let parts = self.ask_both(cell, memory, now).await;
            if !parts.gone() {
                return parts.joined(cell);
            }
            before = Some(parts);
        }
        match self.look_up(cell, now).await {
            Ok(memory) => self.ask_both(cell, memory, now).await.joined(cell),
            // One part of what was remembered may still have answered.
            Err(error) => before.and_then(|parts| parts.joined(cell).ok()).ok_or(error),
        }
    }

    async fn look_up(&self, cell: &CellRequest, now: Instant) -> Result<Memory, FeedError> {
        let body = self.get(&place::point_path(cell), &[], MOST_PLACE_BYTES, now).await?;
        place::point(&body).map_err(|cause| FeedError::new(PROVIDER, cause, now))
    }

    async fn ask_both(&self, cell: &CellRequest, mut memory: Memory, now: Instant) -> Parts {
        let foretold = self.forecast(cell, &mut memory, now).await;
        let observed = self.observe(cell, &mut memory, now).await;
        Parts { foretold, observed, memory }
    }

    /// The forecast of the square; none when there is no newer one.
    async fn forecast(
        &self,
        cell: &CellRequest,
        memory: &mut Memory,
        now: Instant,
    ) -> Result<Option<Foretold>, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        let path = memory.grid_path();
        let since = memory.grid_modified.as_deref();
        let Got { body, modified } = match self.get_since(&path, since, MOST_GRID_BYTES, now).await? {
            Some(got) => got,
            None => return Ok(None),
        };
        let mut foretold = grid::read(&body, cell, now).map_err(failed)?;
        let (asked, told) = (format!("{},{}", memory.x, memory.y), &foretold.square);
        if let Some(told) = told.as_ref().filter(|told| **told != asked) {
            let other = format!("the square {}; asked for {asked}", words(told));
            return Err(failed(Cause::Unfit(other)));
        }
        if foretold.hours.is_empty() {
            let body = self.get(&format!("{path}/forecast/hourly"), &[], MOST_GRID_BYTES, now).await?;
            let hourly = hourly::read(&body, cell, now).map_err(failed)?;
            foretold = Foretold { air: foretold.air, ..hourly };
        }
        if foretold.hours.is_empty() {
            let nothing = "neither the grid nor the hourly forecast has a temperature ahead";
            return Err(failed(Cause::Unfit(nothing.to_owned())));
        }
        memory.grid_modified = modified;
        Ok(Some(foretold))
    }

    /// The observations of the remembered station, or else of the nearest that
    /// tells something. One that is silent for the whole window is forgotten.
    async fn observe(
        &self,
        cell: &CellRequest,
        memory: &mut Memory,
        now: Instant,
    ) -> Result<Observed, FeedError> {
        if let Some(station) = &memory.station {
            let observed = self.observations(cell, station, now).await?;
            memory.station = observed.told_by(station);
            return Ok(observed);
        }
        let body = self.get(&format!("{}/stations", memory.grid_path()), &[], MOST_PLACE_BYTES, now).await?;
        let nearest = place::nearest_stations(&body, cell, MOST_STATIONS)
            .map_err(|cause| FeedError::new(PROVIDER, cause, now))?;
        for station in nearest {
            match self.observations(cell, &station, now).await {
                Ok(observed) => {
                    memory.station = observed.told_by(&station);
                    if memory.station.is_some() {
                        return Ok(observed);
                    }
                }
                // Listed, but without observations; a passing fault must not
                // move the cell to a farther station.
                Err(error) if is_gone(&error) => {}
                Err(error) => return Err(error),
            }
        }
        Ok(Observed::default())
    }

    /// The observations of a station. A full answer that does not reach back to
    /// what was read last is followed by one older answer.
    async fn observations(
        &self,
        cell: &CellRequest,
        station: &Station,
        now: Instant,
    ) -> Result<Observed, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        let path = format!("/stations/{}/observations", station.id);
        let start = window_start(now);
        let mut query = vec![("start", start.to_string()), ("limit", MOST_OBSERVATIONS.to_string())];
        let body = self.get(&path, &query, MOST_OBSERVATIONS_BYTES, now).await?;
        let mut observed = observations::read(&body, station, cell, start, now).map_err(failed)?;
        let mut full = observed.records >= MOST_OBSERVATIONS;
        let reach = station.read_to.map_or(start, |at| at.plus(-FILLED_IN_LATER)).max(start);
        if full && observed.oldest > reach {
            query.push(("end", observed.oldest.to_string()));
            let body = self.get(&path, &query, MOST_OBSERVATIONS_BYTES, now).await?;
            let older = observations::read(&body, station, cell, start, now).map_err(failed)?;
            full = older.records >= MOST_OBSERVATIONS;
            observed.add(older);
        }
        observed.only_whole_hours(if full { observed.oldest } else { start }, now);
        Ok(observed)
    }
}

/// Reads a square that the service answered with at `now`, as [`Feed::fetch`] does.
///
/// # Errors
/// When it is none.
pub fn read_grid(body: &[u8], cell: &CellRequest, now: Instant) -> Result<CellAnswer, Cause> {
    let Foretold { issued_at, hours, air, .. } = grid::read(body, cell, now)?;
    let forecast = (!hours.is_empty()).then_some(Forecast { issued_at, hours });
    Ok(CellAnswer { forecast, air, ..CellAnswer::of(cell) })
}

/// The same of observations of the last [`WINDOW_HOURS`] of a station, by its name.
///
/// # Errors
/// When they are none, or those of another station.
pub fn read_observations(
    body: &[u8],
    station: &str,
    cell: &CellRequest,
    now: Instant,
) -> Result<CellAnswer, Cause> {
    let station = Station { id: station.to_owned(), elevation_m: None, read_to: None };
    let start = window_start(now);
    let mut observed = observations::read(body, &station, cell, start, now)?;
    observed.only_whole_hours(start, now);
    let air = observed.whole_air();
    Ok(CellAnswer { readings: observed.readings.into_values().collect(), air, ..CellAnswer::of(cell) })
}

/// Begin of the window of observations: whole hours, so that many who ask share
/// one cached answer.
fn window_start(now: Instant) -> Instant {
    Instant((now.0.div_euclid(HOUR) - WINDOW_HOURS) * HOUR)
}

impl Feed for Nws {
    fn provider(&self) -> &'static str {
        PROVIDER
    }

    fn kind(&self) -> Kind {
        Kind::Station
    }

    fn attribution(&self) -> Attribution {
        Attribution {
            text: "NOAA National Weather Service",
            link: "https://www.weather.gov/",
            licence: "public domain (US government work)",
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

    /// The grid, the observations, now and then the place and its stations.
    fn cost(&self, cells: &[CellRequest], _now: Instant) -> u64 {
        4 * cells.len() as u64
    }

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        Box::pin(self.fetch_all(cells, now))
    }
}

#[cfg(test)]
mod tests;
