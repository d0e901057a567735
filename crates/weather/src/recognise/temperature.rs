//! Which column holds the temperature of the air, its decimal sign and unit.

use model::units::{COLDEST_C, TemperatureUnit, WARMEST_C};

use super::rows::Sample;
use super::times::Times;
use crate::unit_name::unit_named;

/// Share of the cells that must be numbers or missing.
const ENOUGH: f64 = 0.5;

/// Words of a header that is not the temperature of the air about the trees.
const OTHERS: [&str; 72] = [
    "dew",
    "dewpoint",
    "dewpt",
    "dewp",
    "dwpt",
    "dwp",
    "dp",
    "td",
    "taupunkt",
    "rosee",
    "rosée",
    "rocio",
    "rocío",
    "rugiada",
    "index",
    "heat",
    "chill",
    "windchill",
    "feels",
    "felt",
    "apparent",
    "gefühlt",
    "thw",
    "thsw",
    "wet",
    "wetbulb",
    "indoor",
    "inside",
    "in",
    "innen",
    "int",
    "interior",
    "soil",
    "boden",
    "suelo",
    "ground",
    "grass",
    "erdboden",
    "leaf",
    "blatt",
    "water",
    "wasser",
    "panel",
    "ptemp",
    "logger",
    "box",
    "battery",
    "batt",
    "internal",
    "case",
    "cpu",
    "board",
    "surface",
    "canopy",
    "hi",
    "high",
    "max",
    "maximum",
    "low",
    "lo",
    "min",
    "minimum",
    "std",
    "dev",
    "d-d",
    "degree",
    "gdd",
    "10m",
    "globe",
    "tmax",
    "tmin",
    "tdew",
];
/// Words of one that is.
const AIR: [&str; 20] = [
    "out",
    "outdoor",
    "outside",
    "air",
    "aussen",
    "außen",
    "aussentemperatur",
    "außentemperatur",
    "luft",
    "lufttemperatur",
    "ext",
    "exterior",
    "exterieur",
    "extérieur",
    "aire",
    "aria",
    "2m",
    "1.5m",
    "dry",
    "drybulb",
];
/// Whole words that mean temperature without saying so.
const SHORT: [&str; 8] = ["t", "ta", "tt", "tu", "tair", "t2m", "airtc", "airtf"];

/// What a header speaks of, the better the later.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fit {
    /// Something else than a temperature.
    Nothing,
    /// The temperature of something else than the air about the trees, or its
    /// extremes.
    Other,
    /// A temperature, of what is not said.
    Temperature,
    /// The temperature of the air out of doors.
    Air,
}

/// What a header speaks of.
pub(super) fn fit(name: &str) -> Fit {
    // What follows in brackets says the device.
    let plain = name.split(" (LGR").next().unwrap_or(name).to_lowercase();
    let plain = plain
        .replace("2 m", "2m")
        .replace("1.5 m", "1.5m")
        .replace("10 m", "10m")
        .replace("degree c", "c")
        .replace("degree f", "f");
    let words: Vec<&str> = plain
        .split(|sign: char| !(sign.is_alphanumeric() || sign == '.' || sign == '-'))
        .filter(|word| !word.is_empty())
        .collect();
    let has = |list: &[&str]| words.iter().any(|word| list.contains(word));
    let joined = [
        "dewpoint",
        "dew_point",
        "windchill",
        "heatindex",
        "intemp",
        "indoortemp",
        "soiltemp",
        "tempin",
        "hightemp",
        "lowtemp",
        "maxtemp",
        "mintemp",
        "tempmax",
        "tempmin",
        "wetbulb",
        "feelslike",
    ];
    let is_temperature = ["temp", "tmp", "airt"].iter().any(|part| plain.contains(part))
        || has(&SHORT)
        || unit_named(name, &[]).is_some();
    if !is_temperature {
        return Fit::Nothing;
    }
    if has(&OTHERS) || joined.iter().any(|part| plain.contains(part)) {
        return Fit::Other;
    }
    let air = has(&AIR)
        || ["airt", "outtemp", "tempout", "out_temp", "lufttemp"].iter().any(|part| plain.contains(part));
    if air { Fit::Air } else { Fit::Temperature }
}

/// The temperature's column, by the headers.
pub(super) enum Choice {
    /// This one; the others fit as well.
    One(usize, Vec<usize>),
    /// None; these are temperatures of something else.
    None(Vec<usize>),
}

/// Chooses among the columns whose cells are numbers.
pub(super) fn choose(names: &[String], sample: &Sample<'_>, times: &Times) -> Choice {
    let columns = numeric(sample, times);
    let mut fitting: Vec<(Fit, usize)> = Vec::new();
    let mut others = Vec::new();
    for column in columns {
        match names.get(column).map_or(Fit::Nothing, |name| fit(name)) {
            Fit::Nothing => {}
            Fit::Other => others.push(column),
            found => fitting.push((found, column)),
        }
    }
    let Some(best) = fitting.iter().map(|(found, _)| *found).max() else {
        return Choice::None(others);
    };
    let mut equal = fitting.into_iter().filter(|(found, _)| *found == best).map(|(_, column)| column);
    let first = equal.next().expect("the best is one of them");
    Choice::One(first, equal.collect())
}

/// Columns that hold numbers and are not part of the time.
pub(super) fn numeric(sample: &Sample<'_>, times: &Times) -> Vec<usize> {
    let of_time = |column: &usize| *column == times.time || times.dates.contains(column);
    (0..sample.width).filter(|column| !of_time(column)).filter(|column| is_numeric(sample, *column)).collect()
}

fn is_numeric(sample: &Sample<'_>, column: usize) -> bool {
    let (mut numbers, mut other) = (0, 0);
    for row in &sample.rows {
        let cell = row.cell(column);
        if number(cell).is_some() {
            numbers += 1;
        } else if !cell.is_empty() && cell.len() > 4 {
            other += 1;
        }
    }
    numbers > 0 && f64::from(numbers) >= ENOUGH * f64::from(numbers + other)
}

/// A number with either decimal sign.
pub(super) fn number(cell: &str) -> Option<f64> {
    let plain =
        cell.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b',' | b'e' | b'E'));
    let one_sign = cell.bytes().filter(|byte| matches!(byte, b'.' | b',')).count() <= 1;
    (plain && one_sign && !cell.is_empty()).then(|| cell.replace(',', ".").parse().ok())?
}

/// Whether a line above the readings says that temperatures are in tenths.
pub(super) fn in_tenths(line: &str) -> bool {
    let line = line.to_lowercase();
    let of_degrees = ["temp", "°c", "celsius", "deg"].iter().any(|word| line.contains(word));
    let tenths =
        ["tenth", "0.1 deg", "0,1 deg", "0.1 °", "0,1 °", "0.1°", "0,1°", "1/10", "zehntel", "*10", "x10"];
    of_degrees && tenths.iter().any(|word| line.contains(word))
}

/// The numbers of a column, and whether they have a decimal comma or point.
pub(super) struct Values {
    pub(super) sorted: Vec<f64>,
    pub(super) commas: usize,
    pub(super) points: usize,
}

pub(super) fn values(sample: &Sample<'_>, column: usize) -> Values {
    let mut values = Values { sorted: Vec::new(), commas: 0, points: 0 };
    for row in &sample.rows {
        let cell = row.cell(column);
        if let Some(value) = number(cell) {
            values.sorted.push(value);
            values.commas += usize::from(cell.contains(','));
            values.points += usize::from(cell.contains('.'));
        }
    }
    values.sorted.sort_by(f64::total_cmp);
    values
}

/// The unit that the values alone allow, where they allow but one: a guess.
/// Fahrenheit below 32 at all times would be a frost that never ends, Celsius
/// above 60 is none on earth; between, both may be.
pub(super) fn by_values(sorted: &[f64]) -> Option<TemperatureUnit> {
    let usual: Vec<f64> = sorted.iter().copied().filter(|value| *value > -90.0 && *value < 999.0).collect();
    let (low, high) = (*usual.get(usual.len() / 20)?, *usual.get((usual.len() - 1) * 19 / 20)?);
    let fits = |unit: TemperatureUnit| {
        [low, high].into_iter().all(|value| (COLDEST_C..=WARMEST_C).contains(&unit.to_celsius(value)))
    };
    let mut fitting = [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit, TemperatureUnit::Kelvin]
        .into_iter()
        .filter(|unit| fits(*unit))
        .filter(|unit| *unit != TemperatureUnit::Fahrenheit || high >= 32.0);
    let first = fitting.next()?;
    fitting.next().is_none().then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_air_out_of_doors_is_preferred() {
        let air = [
            "Temp Out",
            "Outdoor Temperature (°F)",
            "AirTC_Avg",
            "Lufttemperatur °C",
            "Temperature 2 m",
            "air_temperature",
            "Temp - Dry Bulb",
            "outTemp",
        ];
        for name in air {
            assert_eq!(fit(name), Fit::Air, "{name}");
        }
        let some = [
            "Temp",
            "temp_f",
            "tmpf",
            "TT_TU",
            "T",
            "Temp, °C (LGR S/N: 10, SEN S/N: 11)",
            "K-Type, °F (LGR S/N: 10, LBL: water pipe)",
            "Temperature degree C",
            "Température",
        ];
        for name in some {
            assert_eq!(fit(name), Fit::Temperature, "{name}");
        }
        let others = [
            "Dew Point °C",
            "In Temp",
            "Temp In",
            "Soil Temp 10 cm",
            "Hi Temp",
            "Low Temp",
            "Heat Index °F",
            "Wind Chill (°C)",
            "THW Index °F",
            "T_max",
            "Temp Max",
            "PTemp_C",
            "Leaf temp",
            "Tmin °C",
            "Wet Bulb °C",
            "Temp 10 m",
            "indoorTemp",
        ];
        for name in others {
            assert_eq!(fit(name), Fit::Other, "{name}");
        }
        for name in ["Humidity", "Time", "Wind Speed", "#", "Record", "Total rain"] {
            assert_eq!(fit(name), Fit::Nothing, "{name}");
        }
    }

    #[test]
    fn tenths_are_seen() {
        for line in [
            "# T : Temperature (in 0.1 degrees Celsius)",
            "temp [0.1 °C]",
            "Temperature in tenths of a degree",
            "Lufttemp. in 1/10 °C",
        ] {
            assert!(in_tenths(line), "{line}");
        }
        for line in ["time,Temp °C", "accuracy 0.1", "Temperature (°C)"] {
            assert!(!in_tenths(line), "{line}");
        }
    }

    #[test]
    fn values_tell_a_unit_only_where_no_other_fits() {
        let range = |low: i32, high: i32| (low..=high).map(f64::from).collect::<Vec<_>>();
        assert_eq!(by_values(&range(-3, 24)), Some(TemperatureUnit::Celsius));
        assert_eq!(by_values(&range(41, 78)), Some(TemperatureUnit::Fahrenheit));
        assert_eq!(by_values(&range(270, 300)), Some(TemperatureUnit::Kelvin));
        assert_eq!(by_values(&range(10, 45)), None);
        assert_eq!(by_values(&range(900, 950)), None);
        assert_eq!(by_values(&[]), None);
    }
}
