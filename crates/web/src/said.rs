//! Figures as people read them.

use std::fmt::Display;

use chrono_tz::Tz;
use model::bloom::Flowers;
use model::materials::{KILOGRAMS_PER_POUND, figure};
use model::record::Amount;
use model::time::{DAY, HOUR, Instant, MINUTE};
use model::units::{
    HECTARES_PER_ACRE, LITRES_PER_US_GALLON, Units, us_gallons_per_acre_to_litres_per_hectare,
};

use crate::words::Words;

/// Metres a second in a mile an hour, exact by definition.
const M_S_PER_MPH: f64 = 0.447_04;
/// Metres in an international foot, exact by definition.
const METRES_PER_FOOT: f64 = 0.304_8;

/// The wall clock, units and language that something is read in.
#[derive(Clone, Copy)]
pub(crate) struct Reader {
    pub(crate) zone: Tz,
    pub(crate) units: Units,
    pub(crate) words: &'static Words,
}

/// A moment with its year and zone, rounded up to the minute.
pub(crate) fn dated(at: Instant, zone: Tz) -> String {
    let minute = Instant((at.0 + MINUTE - 1).div_euclid(MINUTE) * MINUTE);
    minute.utc().with_timezone(&zone).format("%a %-d %b %Y, %H:%M %Z").to_string()
}

/// A temperature in the reader's units: `−2.4 °C (27.7 °F)` where those are both.
pub(crate) fn celsius(value: f64, units: Units) -> String {
    let signed = |number: f64, unit: &str| format!("{number:.1} {unit}").replace('-', "−");
    either(signed(value, "°C"), signed(value * 1.8 + 32.0, "°F"), units)
}

/// A metric figure and a US one, in the reader's units.
fn either(metric: String, us: String, units: Units) -> String {
    match units {
        Units::Both => format!("{metric} ({us})"),
        Units::Metric => metric,
        Units::Us => us,
    }
}

/// A difference of temperatures: `0.4 K (0.7 °F)`.
pub(crate) fn difference(kelvin: f64, units: Units) -> String {
    let signed = |number: f64, unit: &str| format!("{number:.1} {unit}").replace('-', "−");
    either(signed(kelvin, "K"), signed(kelvin * 1.8, "°F"), units)
}

/// A wind.
pub(crate) fn speed(metres_a_second: f64, units: Units) -> String {
    let miles_an_hour = metres_a_second / M_S_PER_MPH;
    either(format!("{metres_a_second:.1} m/s"), format!("{miles_an_hour:.0} mph"), units)
}

/// A height.
pub(crate) fn height(metres: f64, units: Units) -> String {
    either(format!("{metres:.0} m"), format!("{:.0} ft", metres / METRES_PER_FOOT), units)
}

/// How long ago a moment was, or how far ahead it lies.
pub(crate) fn ago(at: Instant, now: Instant, words: &Words) -> String {
    let seconds = now.since(at);
    let (key, number) = match seconds.abs() {
        up_to if up_to < 90 * MINUTE => ("said.minutes", (up_to + MINUTE / 2) / MINUTE),
        up_to if up_to < 2 * DAY => ("said.hours", (up_to + HOUR / 2) / HOUR),
        longer => ("said.days", (longer + DAY / 2) / DAY),
    };
    let age = words.fill(key, &[("n", &number)]);
    words.fill(if seconds < 0 { "said.in" } else { "said.ago" }, &[("age", &age)])
}

/// Flowers or fruit on a tree: whole, with one decimal below ten.
pub(crate) fn number(value: f64) -> String {
    if value < 10.0 && value.fract() != 0.0 { format!("{value:.1}") } else { format!("{value:.0}") }
}

/// A share as whole per cent.
pub(crate) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// A share of the style: as marks are written.
pub(crate) fn style(share: f64) -> String {
    format!("{share:.2}")
}

/// From one figure to another.
pub(crate) fn range(low: impl Display, high: impl Display, words: &Words) -> String {
    words.fill("said.range", &[("low", &low), ("high", &high)])
}

/// Flowers with what bounds them.
pub(crate) fn flowers(flowers: Flowers, words: &Words) -> String {
    let whole = |number: f64| format!("{number:.0}");
    let bounds = match flowers.high {
        Some(high) => range(whole(flowers.low), whole(high), words),
        None => words.fill("said.at_least", &[("n", &whole(flowers.low))]),
    };
    match flowers.likely {
        Some(likely) => format!("{likely:.0} ({bounds})"),
        None => bounds,
    }
}

/// An amount as it was typed, and in the reader's units where it was typed in others.
pub(crate) fn amount(amount: &Amount, units: Units) -> String {
    let typed = amount.spoken();
    let Some((metric, unit)) = amount.metric() else { return typed };
    let us = match unit {
        "L" => Some((metric / LITRES_PER_US_GALLON, "US gal")),
        "kg" => Some((metric / KILOGRAMS_PER_POUND, "lb")),
        "ha" => Some((metric / HECTARES_PER_ACRE, "acres")),
        "L/ha" => Some((metric / us_gallons_per_acre_to_litres_per_hectare(1.0), "US gal/acre")),
        "kg/ha" => Some((metric * HECTARES_PER_ACRE / KILOGRAMS_PER_POUND, "lb/acre")),
        "m/s" => Some((metric / M_S_PER_MPH, "mph")),
        "°C" => Some((metric * 1.8 + 32.0, "°F")),
        _ => None,
    };
    let is_metric = amount.unit.as_deref().is_some_and(|own| own.trim().eq_ignore_ascii_case(unit));
    match us {
        Some((us, us_unit)) if is_metric && units != Units::Metric => {
            format!("{typed} ({} {us_unit})", figure(us))
        }
        Some(_) if !is_metric && units != Units::Us => format!("{typed} ({} {unit})", figure(metric)),
        _ => typed,
    }
}

/// So long: minutes below two hours, then hours, from two days on days.
pub(crate) fn lasting(seconds: i64, words: &Words) -> String {
    let seconds = seconds.max(0);
    let (key, number) = match seconds / HOUR {
        0..2 => ("said.minutes", seconds / MINUTE),
        hours @ 2..48 => ("said.hours", hours),
        hours => ("said.days", hours / 24),
    };
    words.fill(key, &[("n", &number)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    #[test]
    fn frost_is_told_in_both_units() {
        // 28 °F is −2.22 °C, the 10 % line of open flowers (published).
        let told = |value| [Units::Both, Units::Metric, Units::Us].map(|units| celsius(value, units));
        assert_eq!(told(-2.222), ["−2.2 °C (28.0 °F)", "−2.2 °C", "28.0 °F"]);
        assert_eq!(told(10.0), ["10.0 °C (50.0 °F)", "10.0 °C", "50.0 °F"]);
    }

    #[test]
    fn a_typed_amount_keeps_its_words_and_gets_the_other_unit() {
        let told = |typed: &str, unit: &str, units| {
            amount(&Amount::of(typed.to_owned(), Some(unit.to_owned())), units)
        };
        let of = |typed: &str, unit: &str| told(typed, unit, Units::Both);
        assert_eq!(of("10", "L"), "10 L (2.64 US gal)");
        assert_eq!(of("2.5 US gal", ""), "2.5 US gal (9.46 L)");
        assert_eq!(of("some", "buckets"), "some buckets");
        assert_eq!(told("10", "L", Units::Metric), "10 L");
        assert_eq!(told("10", "L", Units::Us), "10 L (2.64 US gal)");
        assert_eq!(told("2.5 US gal", "", Units::Us), "2.5 US gal");
    }

    #[test]
    fn an_age_is_as_exact_as_it_matters() {
        let ages = [-5, 59 * MINUTE, 119 * MINUTE, 2 * HOUR, 47 * HOUR, 48 * HOUR, 71 * HOUR];
        let ages = ages.map(|age| lasting(age, english()));
        assert_eq!(ages, ["0 min", "59 min", "119 min", "2 h", "47 h", "2 days", "2 days"]);
    }

    #[test]
    fn ages_are_told_in_the_unit_that_fits() {
        let now = Instant(1_367_000_000);
        let of = |seconds: i64| ago(now.plus(-seconds), now, english());
        assert_eq!([of(29), of(89 * MINUTE), of(90 * MINUTE)], ["0 min ago", "89 min ago", "2 h ago"]);
        assert_eq!([of(47 * HOUR), of(60 * HOUR), of(-2 * HOUR)], ["47 h ago", "3 days ago", "in 2 h"]);
        assert_eq!(difference(-0.5, Units::Both), "−0.5 K (−0.9 °F)");
        assert_eq!(speed(4.5, Units::Both), "4.5 m/s (10 mph)");
        assert_eq!(height(3.0, Units::Both), "3 m (10 ft)");
    }

    #[test]
    fn flowers_are_told_with_what_bounds_them() {
        let told = |likely, high| flowers(Flowers { low: 40.0, likely, high }, english());
        assert_eq!(told(Some(52.4), Some(80.0)), "52 (40 to 80)");
        assert_eq!(told(Some(52.4), None), "52 (at least 40)");
        assert_eq!([told(None, Some(80.0)), told(None, None)], ["40 to 80", "at least 40"]);
    }
}
