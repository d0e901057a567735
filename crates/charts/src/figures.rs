//! Numbers for people.

/// A number as short as it can be told, at most two decimals.
pub(crate) fn plain(value: f64) -> String {
    minus(((value * 100.0).round() / 100.0).to_string())
}

/// Numbers for people have a true minus.
pub(crate) fn minus(number: String) -> String {
    number.replace('-', "−")
}

/// Celsius and Fahrenheit.
pub(crate) fn temperature(celsius: f64) -> String {
    format!("{} °C ({} °F)", plain(celsius), plain(fahrenheit(celsius)))
}

pub(crate) fn fahrenheit(celsius: f64) -> f64 {
    celsius * 9.0 / 5.0 + 32.0
}
