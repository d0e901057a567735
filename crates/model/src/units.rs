//! Units that people write, and the SI units that everything is kept in.

use serde::{Deserialize, Serialize};

/// Litres in a US gallon: 231 cubic inches of 2.54 cm, exact by definition.
pub const LITRES_PER_US_GALLON: f64 = 3.785_411_784;
/// Hectares in an acre: 43,560 square feet of 0.3048 m, exact by definition.
pub const HECTARES_PER_ACRE: f64 = 0.404_685_642_24;
/// Coldest reading that is taken for a temperature in an orchard, °C.
pub const COLDEST_C: f64 = -60.0;
/// Warmest reading that is taken for a temperature in an orchard, °C.
pub const WARMEST_C: f64 = 60.0;

/// The unit in which a temperature was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
}

impl TemperatureUnit {
    /// The names a file or a form may use.
    pub const NAMES: [&str; 3] = ["celsius", "fahrenheit", "kelvin"];

    /// The unit of that name.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "celsius" => Some(Self::Celsius),
            "fahrenheit" => Some(Self::Fahrenheit),
            "kelvin" => Some(Self::Kelvin),
            _ => None,
        }
    }

    /// A temperature of this unit in °C. By definition 32 °F is 0 °C, a degree
    /// Fahrenheit is 5/9 K, and 273.15 K is 0 °C.
    pub fn to_celsius(self, value: f64) -> f64 {
        match self {
            Self::Celsius => value,
            Self::Fahrenheit => (value - 32.0) * 5.0 / 9.0,
            Self::Kelvin => value - 273.15,
        }
    }
}

/// The units that someone reads figures in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Units {
    /// Metric and US ones side by side.
    #[default]
    Both,
    /// °C, L, kg, ha.
    Metric,
    /// °F, US gallons, pounds, acres.
    Us,
}

impl Units {
    /// The words under which they are written.
    pub const WORDS: [&str; 3] = ["both", "metric", "us"];

    /// Their word.
    pub fn word(self) -> &'static str {
        match self {
            Units::Both => "both",
            Units::Metric => "metric",
            Units::Us => "us",
        }
    }

    /// The units of that word.
    pub fn named(word: &str) -> Option<Units> {
        [Units::Both, Units::Metric, Units::Us].into_iter().find(|units| units.word() == word)
    }
}

/// US gallons an acre as litres a hectare.
pub fn us_gallons_per_acre_to_litres_per_hectare(rate: f64) -> f64 {
    rate * LITRES_PER_US_GALLON / HECTARES_PER_ACRE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fahrenheit's two fixed points and the one where both scales meet; exact
    /// by definition (published: the International System of Units).
    #[test]
    fn fahrenheit_and_kelvin_by_definition() {
        let f = TemperatureUnit::Fahrenheit;
        assert_eq!(f.to_celsius(32.0), 0.0);
        assert_eq!(f.to_celsius(212.0), 100.0);
        assert_eq!(f.to_celsius(-40.0), -40.0);
        assert!((f.to_celsius(28.0) + 2.222_222_222_222_222).abs() < 1e-12);
        assert_eq!(TemperatureUnit::Kelvin.to_celsius(273.15), 0.0);
    }

    /// NIST Handbook 44, appendix C: US gallon 3.785 411 784 L and acre
    /// 0.404 685 642 24 ha from the international foot (published, exact).
    #[test]
    fn gallon_and_acre_by_definition() {
        let inch_cm: f64 = 2.54;
        assert!((231.0 * inch_cm.powi(3) / 1000.0 - LITRES_PER_US_GALLON).abs() < 1e-12);
        let foot_m: f64 = 0.3048;
        assert!((43_560.0 * foot_m * foot_m / 10_000.0 - HECTARES_PER_ACRE).abs() < 1e-12);
        assert!((us_gallons_per_acre_to_litres_per_hectare(1.0) - 9.353_956).abs() < 1e-6);
    }
}
