//! Figures and the description in words.

use model::fit::{Fit, Form};

use crate::figures::minus;
pub(super) use crate::figures::{fahrenheit, plain, temperature};

/// A number with as many decimals as two figures of its error have.
pub(super) fn beside(value: f64, error: f64) -> String {
    // Of an exact fit the error is rounding; four decimals show that well enough.
    let decimals =
        if error.is_finite() && error > 1e-6 { (1.0 - error.log10().floor()).clamp(0.0, 6.0) } else { 4.0 };
    minus(format!("{value:.*}", decimals as usize))
}

/// A length with its sign.
pub(super) fn signed(value: f64) -> String {
    minus(format!("{value:+.3}"))
}

/// Unit of a figure, for people.
pub(super) fn unit(unit: &str) -> &str {
    match unit {
        "mm-per-hour" => "mm an hour",
        "mm-per-day" => "mm a day",
        "fraction-per-hour" => "of the style an hour",
        "fraction-per-day" => "of the style a day",
        "celsius" => "°C",
        "hours" => "h",
        other => other,
    }
}

/// What lengths are counted in.
pub(super) fn length_unit(fit: &Fit) -> &'static str {
    if fit.unit.starts_with("mm") { "mm" } else { "share of the style" }
}

/// Name of a figure, for people.
pub(super) fn figure(name: &str) -> String {
    match name {
        "tmin" => "Lowest temperature of growth".to_owned(),
        "topt" => "Best temperature".to_owned(),
        "tmax" => "Highest temperature of growth".to_owned(),
        "rate_at_topt" => "Rate at the best temperature".to_owned(),
        "lag_hours" => "Start lag".to_owned(),
        other => match other.strip_prefix("rate_at_").and_then(|celsius| celsius.parse::<f64>().ok()) {
            Some(celsius) => format!("Rate at {}", temperature(celsius)),
            None => other.to_owned(),
        },
    }
}

pub(super) fn title(fit: &Fit) -> String {
    let form = match fit.form {
        Form::Nodes => "Rates at the temperatures tried",
        Form::Beta => "Beta curve",
    };
    format!("{form}, fitted to {} observations", fit.n)
}

pub(super) fn goodness(fit: &Fit) -> String {
    let spread = format!("Residuals ± {} {}", beside(fit.sigma, fit.sigma), length_unit(fit));
    match fit.r2 {
        Some(r2) => format!("{spread}, R² {r2:.3}"),
        None => spread,
    }
}

pub(super) fn covered(fit: &Fit) -> String {
    let (low, high) = fit.covered;
    format!("Observed from {} to {}", temperature(low), temperature(high))
}

pub(super) fn lag(fit: &Fit) -> String {
    match fit.lag_hours {
        Some(lag) => format!("A start lag of {lag:.1} h was estimated; it stands beside these rates, not inside them."),
        None => {
            "No start lag was estimated: it is inside these rates, and a lag added beside them counts it twice."
                .to_owned()
        }
    }
}

pub(super) fn description(fit: &Fit) -> String {
    let figures: Vec<String> = fit
        .parameters
        .iter()
        .map(|found| {
            let number = |value| beside(value, found.standard_error);
            let (value, error) = (number(found.value), number(found.standard_error));
            format!("{} {value} ± {error} {}", figure(&found.name), unit(&found.unit))
        })
        .collect();
    format!(
        "Above, growth rate against temperature: the fitted curve and, for each observation, its length over the \
         hours it grew. Below, observed less fitted length. {}. {} (standard errors). {}. {}",
        goodness(fit),
        figures.join("; "),
        covered(fit),
        lag(fit)
    )
}
