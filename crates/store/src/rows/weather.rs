//! Readings, forecasts, and the cells that feeds are fetched for.

use std::collections::HashMap;

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::Instant;

use super::{Site, Source};

/// What an upload of readings did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Upload {
    /// Readings at a time for which the source had none.
    pub stored: u64,
    /// Readings that the source had already, equal to the bit.
    pub unchanged: u64,
    /// Readings that took the place of another at the same time; what was
    /// there before is kept beside it.
    pub corrected: u64,
}

/// A reading that a later one took the place of.
#[derive(Debug, Clone, PartialEq)]
pub struct Earlier {
    /// As it was.
    pub reading: Reading,
    /// When it had been received.
    pub received_at: Instant,
    /// When the later one was received.
    pub replaced_at: Instant,
}

/// The weather of one site, or of a block along its sites, all read at one
/// moment of the database.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteWeather {
    /// The site; of a block the one at which it is.
    pub site: Site,
    /// Version of these readings and this forecast, see [`super::Versions`].
    pub version: i64,
    /// Each source, the most trusted first, with its readings in order of
    /// time. Sources without readings are there too.
    pub sources: Vec<(Source, Vec<Reading>)>,
    /// The newest forecast of the most trusted source that has one.
    pub forecast: Option<Forecast>,
}

/// As [`SiteWeather::for_checks`].
pub fn for_checks(
    sources: &mut [(Source, Vec<Reading>)],
) -> impl Iterator<Item = (&str, bool, &mut Vec<Reading>)> {
    sources.iter_mut().map(|(source, readings)| (source.name.as_str(), source.checked(), readings))
}

impl SiteWeather {
    /// Each source's name, whether its readings are to be checked, and they
    /// themselves, to take the flags that checking gives.
    pub fn for_checks(&mut self) -> impl Iterator<Item = (&str, bool, &mut Vec<Reading>)> {
        for_checks(&mut self.sources)
    }

    /// Readings in order of trust, as the model joins them. Of a block that was
    /// moved the most trusted source of each of its sites are one, and so on
    /// down: none of them stands in for another.
    pub fn by_trust(&self) -> Vec<Vec<Reading>> {
        let mut ranks: Vec<Vec<Reading>> = Vec::new();
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for (source, readings) in &self.sources {
            let place = seen.entry(&source.site_id).or_default();
            match ranks.get_mut(*place) {
                Some(rank) => {
                    rank.extend(readings);
                    rank.sort_by_key(|reading| reading.at);
                }
                None => ranks.push(readings.clone()),
            }
            *place += 1;
        }
        ranks
    }
}

/// A provider's grid cell or station, and how fetching it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// The provider.
    pub provider: String,
    /// The provider's name for the cell.
    pub cell: String,
    /// When it is to be fetched next.
    pub next_at: Instant,
    /// Until when it is leased to a fetcher; none when it is not.
    pub lease_until: Option<Instant>,
    /// When a fetch of it last went well.
    pub last_ok_at: Option<Instant>,
    /// Why the latest fetch did not; none when it went well.
    pub last_error: Option<String>,
}

/// How a provider stands with all instances together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProviderState {
    /// Its name.
    pub name: String,
    /// Fetches that failed in a row.
    pub failures: u32,
    /// Until when it is left alone; none while it answers.
    pub open_until: Option<Instant>,
    /// When a fetch last went well.
    pub last_ok_at: Option<Instant>,
    /// Why the latest fetch did not; none when it went well.
    pub last_error: Option<String>,
    /// What was asked of it: seconds of the window, its begin, how much.
    pub spent: Vec<(i64, Instant, u64)>,
}

/// How a source stands.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceState {
    /// The source.
    pub source: Source,
    /// When its last reading ends; none when it has none.
    pub last_at: Option<Instant>,
    /// When that was received.
    pub received_at: Option<Instant>,
}

/// What a fetch of a cell brought for one of the sources fed from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Brought<'a> {
    /// The source.
    pub source_id: &'a str,
    /// Its readings.
    pub readings: Vec<Reading>,
    /// The forecast as it was issued.
    pub forecast: Option<Forecast>,
    /// The members of an ensemble.
    pub members: Option<Members>,
    /// The rest of the air.
    pub air: &'a [Air],
}

impl<'a> Brought<'a> {
    /// Nothing yet.
    pub fn of(source_id: &'a str) -> Brought<'a> {
        Brought { source_id, readings: Vec::new(), forecast: None, members: None, air: &[] }
    }
}

/// A forecast as it was issued, and when it was fetched.
#[derive(Debug, Clone, PartialEq)]
pub struct Issue {
    /// When it was fetched.
    pub fetched_at: Instant,
    /// What it said, in hundredths of a degree.
    pub forecast: Forecast,
}

/// The members of an ensemble as they were issued.
#[derive(Debug, Clone, PartialEq)]
pub struct Members {
    /// When they were issued, or fetched where that is not said.
    pub issued_at: Instant,
    /// The hours of each, the control first.
    pub hours: Vec<Vec<Reading>>,
}

/// A file of the watched folder as it was when it was last looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenFile {
    /// The source that it is of.
    pub source_id: String,
    /// Its name within the source's folder.
    pub name: String,
    /// Bytes.
    pub size: u64,
    /// When it was last written to.
    pub modified_at: Instant,
    /// When it was first seen like that.
    pub seen_at: Instant,
    /// When it was read; none while it was not yet seen at rest.
    pub taken_at: Option<Instant>,
    /// Readings that were new or corrected others.
    pub stored: u64,
    /// What of it was taken: how many bytes, and their hash; in words of whoever took
    /// it.
    pub content: Option<String>,
    /// Why nothing, or not all, was taken from it.
    pub fault: Option<String>,
}

/// What a fetch of a cell is noted with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Fetched<'a> {
    /// When it is due again.
    pub next_at: Instant,
    /// Why it gave nothing; none when it went well.
    pub error: Option<&'a str>,
    /// What the feed wants to be remembered; none leaves what was.
    pub memory: Option<&'a str>,
}

/// A cell to be fetched now, by the holder of this lease alone.
#[derive(Debug, Clone, PartialEq)]
pub struct LeasedCell {
    /// The provider.
    pub provider: String,
    /// The provider's name for the cell.
    pub cell: String,
    /// Shown when the fetch is finished; every lease of the cell has a higher
    /// one than the last.
    pub token: i64,
    /// What the feed asked to be remembered of it.
    pub memory: Option<String>,
    /// The sources that are fed from it, with their sites.
    pub sources: Vec<(Source, Site)>,
}
