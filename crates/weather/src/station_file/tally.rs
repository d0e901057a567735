//! What is counted over the rows of a file.

use model::units::{COLDEST_C, TemperatureUnit, WARMEST_C};

use super::fault::Listed;

/// A column that must hold a text.
pub(super) struct Wanted<'a> {
    pub(super) column: usize,
    pub(super) text: &'a [u8],
    /// Whether any row had it.
    pub(super) seen: bool,
    /// What rows had instead.
    pub(super) others: Listed,
}

/// How many of the temperatures are implausible as declared, and how many of
/// those would fit in each unit.
#[derive(Default)]
pub(super) struct Range {
    pub(super) numbers: u64,
    pub(super) outside: u64,
    pub(super) fitting: [u64; TemperatureUnit::NAMES.len()],
}

/// Whether the file's times rise or fall from row to row.
#[derive(Default)]
pub(super) struct Order {
    last: Option<i64>,
    rises: u64,
    falls: u64,
}

fn plausible(celsius: f64) -> bool {
    (COLDEST_C..=WARMEST_C).contains(&celsius)
}

impl Range {
    /// Counts one temperature; whether it is plausible as declared.
    #[inline]
    pub(super) fn takes(&mut self, value: f64, celsius: f64) -> bool {
        const UNITS: [TemperatureUnit; 3] =
            [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit, TemperatureUnit::Kelvin];
        self.numbers += 1;
        let fits = plausible(celsius);
        if !fits {
            self.outside += 1;
            for (fitting, unit) in self.fitting.iter_mut().zip(UNITS) {
                *fitting += u64::from(plausible(unit.to_celsius(value)));
            }
        }
        fits
    }
}

impl Order {
    pub(super) fn note(&mut self, at: i64) {
        if let Some(last) = self.last.replace(at) {
            self.rises += u64::from(at > last);
            self.falls += u64::from(at < last);
        }
    }

    pub(super) fn newest_first(&self) -> bool {
        self.falls > self.rises
    }
}
