//! Observations of one station.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use model::air::Air;
use model::series::{Flag, Reading};
use model::time::Instant;
use model::units::{COLDEST_C, WARMEST_C};
use serde::Deserialize;

use super::answer::{Feature, json};
use super::interval::moment;
use super::memory::Station;
use super::quantity::{Quantity, celsius, correction, if_it_fits, metres_per_second, millimetres, percent};
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellRequest};

/// What a station told.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observed {
    pub readings: BTreeMap<Instant, Reading>,
    pub air: BTreeMap<Instant, Air>,
    /// Observations with a time, those without a temperature included.
    pub records: usize,
    /// Time of the oldest of them.
    pub oldest: Instant,
}

impl Default for Observed {
    /// Nothing.
    fn default() -> Self {
        Observed { readings: BTreeMap::new(), air: BTreeMap::new(), records: 0, oldest: Instant::MAX }
    }
}

impl Observed {
    /// The station, if it gave any temperature that can be used, with how far
    /// it has been read.
    pub(super) fn station(&self, id: &str, read_to: Option<Instant>) -> Option<Station> {
        let newest = self.readings.values().rev().find(|reading| reading.flag.usable())?.at;
        Some(Station { id: id.to_owned(), read_to: read_to.max(Some(newest)) })
    }

    /// Takes an older answer of the same station in.
    pub(super) fn add(&mut self, older: Observed) {
        older.readings.into_values().for_each(|reading| self.put(reading));
        for (at, air) in older.air {
            self.air.entry(at).or_insert(air);
        }
        self.records += older.records;
        self.oldest = self.oldest.min(older.oldest);
    }

    /// Of several observations at one time, the better checked is kept.
    fn put(&mut self, reading: Reading) {
        match self.readings.entry(reading.at) {
            Entry::Vacant(free) => {
                free.insert(reading);
            }
            Entry::Occupied(mut taken) => {
                if (reading.flag as u8) < taken.get().flag as u8 {
                    taken.insert(reading);
                }
            }
        }
    }
}

#[derive(Deserialize)]
struct List {
    features: Vec<Feature<Observation>>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Observation {
    /// Address of the station; its name stands at the end.
    station: String,
    timestamp: String,
    temperature: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    elevation: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    wind_speed: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    wind_gust: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    relative_humidity: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    dewpoint: Option<Quantity>,
    #[serde(default, deserialize_with = "if_it_fits")]
    precipitation_last_hour: Option<Quantity>,
}

/// Reads the observations of `station` from `start` to `now`; those of other
/// times or of none are left out, and so are temperatures that no orchard has:
/// one odd record would else shut out all others for as long as it is in the window.
pub(super) fn read(
    body: &[u8],
    station: &str,
    cell: &CellRequest,
    start: Instant,
    now: Instant,
) -> Result<Observed, Cause> {
    let mut observed = Observed::default();
    let mut no_time = None;
    for Feature { properties: said } in json::<List>(body)?.features {
        if said.station.rsplit('/').next() != Some(station) {
            let other = words(&said.station);
            return Err(Cause::Unfit(format!("an observation of {other}; expected those of {station}")));
        }
        let Some(at) = moment(&said.timestamp) else {
            no_time = Some(said.timestamp);
            continue;
        };
        observed.records += 1;
        observed.oldest = observed.oldest.min(at);
        if !(start..=now).contains(&at) {
            continue;
        }
        if let Some((value, flag)) = temperature(&said)? {
            let celsius = value + correction(said.elevation.as_ref(), cell.elevation_m);
            observed.put(Reading { flag, ..Reading::instant(at, celsius) });
        }
        let air = air(&said, at);
        if air.tells() {
            observed.air.entry(at).or_insert(air);
        }
    }
    match no_time {
        Some(text) if observed.records == 0 => Err(Cause::Unfit(format!("`{}` is not a time", words(&text)))),
        _ => Ok(observed),
    }
}

fn temperature(said: &Observation) -> Result<Option<(f64, Flag)>, Cause> {
    let Some(Quantity { value: Some(value), unit_code, .. }) = &said.temperature else { return Ok(None) };
    let unit = unit_code.as_deref().unwrap_or_default();
    let value = celsius(unit, *value).ok_or_else(|| {
        Cause::Unfit(format!("a temperature is in the unit `{}`, which is not known", words(unit)))
    })?;
    let flag = said.temperature.as_ref().map_or(Flag::NotEvaluated, Quantity::flag);
    Ok((COLDEST_C..=WARMEST_C).contains(&value).then_some((value, flag)))
}

fn air(said: &Observation, at: Instant) -> Air {
    let told = |quantity: &Option<Quantity>, convert| quantity.as_ref().and_then(|it| it.usable(convert));
    Air {
        at,
        wind_m_s: told(&said.wind_speed, metres_per_second),
        gust_m_s: told(&said.wind_gust, metres_per_second),
        rain_mm: told(&said.precipitation_last_hour, millimetres),
        humidity_percent: told(&said.relative_humidity, percent),
        dew_point_c: told(&said.dewpoint, celsius),
    }
    .plausible()
}
