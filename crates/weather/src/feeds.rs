//! Weather providers, asked over the network.
//!
//! A [`Feed`] asks once and retries nothing: an error says when it may be asked
//! again, and the caller's next pass is the retry. A value counts as a reading
//! only when its time was not after the fetch, by the clock here and by the
//! provider's; what lies ahead is a forecast, issued when it was fetched.

pub mod bright_sky;
mod check;
mod client;
mod fault;
pub mod met_norway;
pub mod nws;
pub mod open_meteo;
pub mod reach;

use std::future::Future;
use std::pin::Pin;

use model::air::Air;
use model::series::{Forecast, Kind, Reading};
use model::time::Instant;

pub use client::{ClientSettings, client};
pub use fault::{Cause, FeedError, Retry};

/// A place to ask for, shared by all sites in one cell of a provider's grid.
#[derive(Debug, Clone, PartialEq)]
pub struct CellRequest {
    /// The caller's name of the cell; comes back with the answer.
    pub cell: String,
    /// Degrees, north positive.
    pub latitude: f64,
    /// Degrees, east positive.
    pub longitude: f64,
    /// Metres above the sea, to which the provider corrects the temperature;
    /// none leaves the height to the provider.
    pub elevation_m: Option<f64>,
    /// What the feed asked to be remembered when it answered for this cell last:
    /// the time that a conditional request names, the provider's own name of the
    /// place. Only the feed itself knows its form.
    pub memory: Option<String>,
}

/// What a provider says of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct CellAnswer {
    /// The name it was asked under.
    pub cell: String,
    /// Values whose time was not after the fetch, by time, not yet checked.
    pub readings: Vec<Reading>,
    /// Values ahead of the fetch; none when there are none.
    pub forecast: Option<Forecast>,
    /// The rest of the air, past and ahead, by time.
    pub air: Vec<Air>,
    /// The members of an ensemble, the control first, each its hours ahead of the
    /// fetch by time; none when the feed has none or did not ask for them this time.
    pub members: Option<Vec<Vec<Reading>>>,
    /// What could not be had beside the rest, and why.
    pub lacks: Option<String>,
    /// To be remembered until the next request for this cell.
    pub memory: Option<String>,
    /// The provider asks not to come again before.
    pub not_before: Option<Instant>,
    /// When it was given by the provider's clock, where that is told: not the time of
    /// the fetch where a clock is wrong.
    pub given_at: Option<Instant>,
}

impl CellAnswer {
    /// Nothing for a cell yet.
    pub fn of(cell: &CellRequest) -> CellAnswer {
        CellAnswer {
            cell: cell.cell.clone(),
            readings: Vec::new(),
            forecast: None,
            air: Vec::new(),
            members: None,
            lacks: None,
            memory: cell.memory.clone(),
            not_before: None,
            given_at: None,
        }
    }
}

/// Whom the data comes from, to be shown beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attribution {
    /// The words that the provider asks for.
    pub text: &'static str,
    /// Where they link to.
    pub link: &'static str,
    /// Licence of the data.
    pub licence: &'static str,
}

/// The answer of [`Feed::fetch`], to be awaited.
pub type Fetching<'a> = Pin<Box<dyn Future<Output = Result<Vec<CellAnswer>, FeedError>> + Send + 'a>>;

/// A provider of temperatures.
pub trait Feed: Send + Sync {
    /// Short name of the provider.
    fn provider(&self) -> &'static str;

    /// What kind of observation its readings are.
    fn kind(&self) -> Kind;

    /// Whom to credit.
    fn attribution(&self) -> Attribution;

    /// How many cells one fetch may ask for.
    fn most_cells(&self) -> usize;

    /// Seconds from one fetch of a cell to the next.
    fn interval(&self) -> i64;

    /// How much may be asked of the provider, of all instances together: seconds
    /// of a window counted in UTC, and the most in it. At most 70 % of what the
    /// provider publishes, or a modest pace where it publishes nothing.
    fn limits(&self) -> &'static [(i64, u64)];

    /// What a fetch of these cells at that time counts against them.
    fn cost(&self, cells: &[CellRequest], now: Instant) -> u64;

    /// Asks for the recent past and the forecast of some cells, at most
    /// [`Feed::most_cells`]. Answers come in the order of `cells`, one each.
    /// `now` is the time of the fetch.
    ///
    /// # Errors
    /// With the cause and when to ask again; then there is nothing of any cell.
    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a>;
}

#[cfg(test)]
mod tests;
