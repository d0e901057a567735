//! Amounts as people type them.

use serde::Serialize;

use crate::materials::{KILOGRAMS_PER_POUND, US_FLUID_OUNCES_PER_US_GALLON};
use crate::units::{
    HECTARES_PER_ACRE, LITRES_PER_US_GALLON, TemperatureUnit, us_gallons_per_acre_to_litres_per_hectare,
};

/// An amount as it was typed, with what could be read of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Amount {
    /// What was typed, for ever.
    pub typed: String,
    /// The figure, where it is plainly one.
    pub number: Option<f64>,
    /// The unit as it was typed: behind the figure, else in its own field.
    pub unit: Option<String>,
}

impl Amount {
    /// Reads `40 L`, `2.5 gal`, `2,5 L` or `4.0`; `unit` is what stands in the
    /// field for it and holds where the text has none.
    pub fn of(typed: String, unit: Option<String>) -> Amount {
        let (number, own) = match split(&typed) {
            Some((number, own)) => (Some(number), own),
            None => (None, ""),
        };
        let unit = if own.is_empty() { unit } else { Some(own.to_owned()) };
        Amount { typed, number, unit }
    }

    /// The figure in the metric unit of its kind, where figure and unit are
    /// known: L, kg, ha, L/ha, kg/ha, %, g/L, m/s or °C. A gallon of which
    /// nobody says whose it is stays unread: an imperial one is a fifth larger.
    pub fn metric(&self) -> Option<(f64, &'static str)> {
        let number = self.number?;
        let unit = self.unit.as_deref()?.trim().to_lowercase().replace('-', " ");
        let (each, metric) = match unit.as_str() {
            "l" | "litre" | "litres" | "liter" | "liters" => (1.0, "L"),
            "ml" => (0.001, "L"),
            "us gal" | "us gallon" | "us gallons" => (LITRES_PER_US_GALLON, "L"),
            "us fl oz" => (LITRES_PER_US_GALLON / US_FLUID_OUNCES_PER_US_GALLON, "L"),
            "kg" => (1.0, "kg"),
            "g" => (0.001, "kg"),
            "lb" | "lbs" | "pound" | "pounds" => (KILOGRAMS_PER_POUND, "kg"),
            "ha" | "hectare" | "hectares" => (1.0, "ha"),
            "ac" | "acre" | "acres" => (HECTARES_PER_ACRE, "ha"),
            "l/ha" => (1.0, "L/ha"),
            "us gal/acre" => (us_gallons_per_acre_to_litres_per_hectare(1.0), "L/ha"),
            "kg/ha" => (1.0, "kg/ha"),
            "lb/acre" => (KILOGRAMS_PER_POUND / HECTARES_PER_ACRE, "kg/ha"),
            "%" | "percent" => (1.0, "%"),
            "g/l" => (1.0, "g/L"),
            "m/s" => (1.0, "m/s"),
            "km/h" => (1.0 / 3.6, "m/s"),
            "mph" => (0.447_04, "m/s"),
            "kn" | "knot" | "knots" => (1_852.0 / 3_600.0, "m/s"),
            "°c" | "c" | "celsius" => return Some((number, "°C")),
            "°f" | "f" | "fahrenheit" => {
                return Some((TemperatureUnit::Fahrenheit.to_celsius(number), "°C"));
            }
            _ => return None,
        };
        Some((number * each, metric))
    }

    /// As it was typed, with the unit of its own field behind it.
    pub fn spoken(&self) -> String {
        match &self.unit {
            Some(unit) if !self.typed.trim_end().ends_with(unit.as_str()) => format!("{} {unit}", self.typed),
            _ => self.typed.clone(),
        }
    }
}

/// A figure and what stands behind it. None where it is not plainly one figure:
/// a range, a sum, or a comma that may part thousands.
pub(super) fn split(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let signed = text.strip_prefix(['-', '−', '+']).unwrap_or(text);
    let end = signed.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')).unwrap_or(signed.len());
    let (figure, rest) = signed.split_at(end);
    let thousands = figure.split_once(',').is_some_and(|(_, behind)| behind.len() == 3);
    if thousands || figure.ends_with(['.', ',']) {
        return None;
    }
    let number: f64 = figure.replace(',', ".").parse().ok()?;
    let unit = rest.trim();
    if !(unit.is_empty() || unit.starts_with(|c: char| c.is_alphabetic() || "%°".contains(c))) {
        return None;
    }
    // A second figure makes a range or a sum of it, save in `lb/100 gal`.
    let second = unit.char_indices().any(|(at, c)| {
        c.is_ascii_digit() && !unit[..at].trim_end_matches(|c: char| c.is_ascii_digit()).ends_with('/')
    });
    let joined = unit.split_whitespace().any(|word| ["and", "or", "to", "x"].contains(&word));
    let negative = text.starts_with(['-', '−']);
    (!second && !joined).then_some((if negative { -number } else { number }, unit))
}
