//! Observations of one station.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use model::air::Air;
use model::series::{Flag, Reading};
use model::time::{HOUR, Instant};
use model::units::{COLDEST_C, WARMEST_C};
use serde::Deserialize;

use super::answer::{Feature, json};
use super::interval::moment;
use super::memory::Station;
use super::quantity::{Quantity, celsius, height, if_it_fits, metres_per_second, millimetres, percent};
use crate::feeds::check::height_correction;
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellRequest};

/// What a station told.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observed {
    pub readings: BTreeMap<Instant, Reading>,
    /// Without rain.
    pub air: BTreeMap<Instant, Air>,
    /// Rain by the end of the clock's hour in which it was told, mm.
    pub rain: BTreeMap<Instant, f64>,
    /// Observations with a time, those without a temperature included.
    pub records: usize,
    /// Time of the oldest of them.
    pub oldest: Instant,
}

impl Default for Observed {
    /// Nothing.
    fn default() -> Self {
        Observed {
            readings: BTreeMap::new(),
            air: BTreeMap::new(),
            rain: BTreeMap::new(),
            records: 0,
            oldest: Instant::MAX,
        }
    }
}

impl Observed {
    /// The station, if it gave any temperature that can be used, with how far
    /// it has been read.
    pub(super) fn told_by(&self, station: &Station) -> Option<Station> {
        let newest = self.readings.values().rev().find(|reading| reading.flag.usable())?.at;
        Some(Station { read_to: station.read_to.max(Some(newest)), ..station.clone() })
    }

    /// Takes an older answer of the same station in.
    pub(super) fn add(&mut self, older: Observed) {
        older.readings.into_values().for_each(|reading| self.put(reading));
        for (at, air) in older.air {
            self.air.entry(at).or_insert(air);
        }
        older.rain.into_iter().for_each(|(end, rain)| self.put_rain(end, rain));
        self.records += older.records;
        self.oldest = self.oldest.min(older.oldest);
    }

    /// Notes the rain of an hour. A station tells at every report what fell since
    /// its last hourly one (from memory, of the reports named METAR and SPECI), so
    /// within an hour the same rain comes several times: the greatest is that of
    /// the whole, and the only one that counts.
    fn put_rain(&mut self, end: Instant, rain: f64) {
        self.rain.entry(end).and_modify(|most| *most = most.max(rain)).or_insert(rain);
    }

    /// Leaves out the rain of hours that were not seen from their begin, at
    /// `whole_from` or later, to their end: what is told of them may still grow.
    pub(super) fn only_whole_hours(&mut self, whole_from: Instant, now: Instant) {
        self.rain.retain(|end, _| end.plus(-HOUR) >= whole_from && *end <= now);
    }

    /// The air by time, rain at the ends of its hours: there it takes the place of
    /// what was foretold for them.
    pub(super) fn whole_air(&self) -> Vec<Air> {
        let mut air = self.air.clone();
        for (end, rain) in &self.rain {
            air.entry(*end).or_insert(Air::at(*end)).rain_mm = Some(*rain);
        }
        air.into_values().collect()
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
/// An observation that tells no height is taken at that of the station.
pub(super) fn read(
    body: &[u8],
    station: &Station,
    cell: &CellRequest,
    start: Instant,
    now: Instant,
) -> Result<Observed, Cause> {
    let mut observed = Observed::default();
    let mut no_time = None;
    for Feature { properties: said } in json::<List>(body)?.features {
        if said.station.rsplit('/').next() != Some(&station.id) {
            let (other, id) = (words(&said.station), &station.id);
            return Err(Cause::Unfit(format!("an observation of {other}; expected those of {id}")));
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
            let there = height(said.elevation.as_ref()).or(station.elevation_m);
            let celsius = value + height_correction(there, cell.elevation_m);
            observed.put(Reading { flag, ..Reading::instant(at, celsius) });
        }
        let mut air = air(&said, at);
        if let Some(rain) = air.rain_mm.take() {
            observed.put_rain(Instant((at.0 + HOUR - 1).div_euclid(HOUR) * HOUR), rain);
        }
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
