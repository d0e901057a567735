//! What every feed checks: its settings, the cells it is asked for, and what
//! it gets for them.

use model::site::LAPSE_K_PER_M;
use model::time::Instant;
use model::units::{COLDEST_C, WARMEST_C};
use reqwest::Url;
use serde::de::DeserializeOwned;

use super::fault::words;
use super::reach::Reach;
use super::{Cause, CellRequest};

/// The address of `path` at a service that may be asked. `setting` names the base
/// URL in the error, `example` shows one.
pub(super) fn address(
    setting: &str,
    base_url: &str,
    path: &str,
    example: &str,
    reach: &Reach,
) -> Result<Url, Cause> {
    let wrong = |detail: &dyn std::fmt::Display| Cause::Request(format!("{setting}: {detail}"));
    let url = match Url::parse(&format!("{}{path}", base_url.trim().trim_end_matches('/'))) {
        Ok(url) if url.query().is_none() && url.fragment().is_none() => url,
        _ => return Err(wrong(&format!("expected an address like {example}"))),
    };
    reach.check(&url).map_err(|refused| wrong(&refused))?;
    Ok(url)
}

/// Whether these cells can be asked for in one fetch.
pub(super) fn askable(cells: &[CellRequest], most: usize) -> Result<(), Cause> {
    if cells.len() > most {
        return Err(Cause::Request(format!("{} cells at once; at most {most}", cells.len())));
    }
    let nowhere = cells.iter().find(|cell| {
        !(cell.latitude.abs() <= 90.0 && cell.longitude.abs() <= 180.0)
            || cell.elevation_m.is_some_and(|metres| !metres.is_finite())
    });
    match nowhere {
        None => Ok(()),
        Some(cell) => Err(Cause::Request(format!("cell {} lies nowhere on the map", cell.cell))),
    }
}

/// The first sign of a body that looks like JSON: `{` or `[`.
pub(super) fn opening(body: &[u8]) -> Result<u8, Cause> {
    match body.trim_ascii_start().first() {
        Some(sign @ (b'{' | b'[')) => Ok(*sign),
        None => Err(Cause::NotJson("an empty body".to_owned())),
        Some(_) if is_html(body) => Err(Cause::NotJson("a web page".to_owned())),
        Some(_) => Err(Cause::NotJson(begin(body))),
    }
}

/// Reads JSON of any form.
pub(super) fn json<T: DeserializeOwned>(body: &[u8]) -> Result<T, Cause> {
    serde_json::from_slice(body).map_err(|error| match error.classify() {
        serde_json::error::Category::Data => Cause::Unfit(words(&error.to_string())),
        _ => Cause::NotJson(words(&error.to_string())),
    })
}

/// Reads a body that is one JSON object.
pub(super) fn object<T: DeserializeOwned>(body: &[u8]) -> Result<T, Cause> {
    match opening(body)? {
        b'{' => json(body),
        _ => Err(Cause::NotJson(begin(body))),
    }
}

/// What a refusal says that has not the provider's usual form.
pub(super) fn unusual_refusal(body: &[u8]) -> String {
    if is_html(body) { "a web page instead of a reason".to_owned() } else { begin(body) }
}

/// Whether `at` follows `before` and lies between the two moments, both
/// included, that an answer may hold.
pub(super) fn follows(before: Instant, at: Instant, within: (Instant, Instant)) -> Result<(), String> {
    if at <= before || !(Instant::MIN..Instant::MAX).contains(&at) {
        return Err(format!("the time {} is out of order or of no year of ours", at.0));
    }
    if at < within.0 || at > within.1 {
        return Err(format!("the time {at} is another than asked for, {} to {}", within.0, within.1));
    }
    Ok(())
}

/// Whether an orchard can have this temperature.
pub(super) fn plausible(celsius: f64, at: Instant) -> Result<(), String> {
    if (COLDEST_C..=WARMEST_C).contains(&celsius) {
        return Ok(());
    }
    Err(format!("{celsius} °C at {at} is outside {COLDEST_C} to {WARMEST_C} °C"))
}

/// Lowest and highest ground that is taken for one, m: Dead Sea and Everest.
const GROUND_M: std::ops::RangeInclusive<f64> = -430.0..=8_850.0;

/// What to add to a temperature at the height `there` to have that at `asked`,
/// both in metres, K; 0 when either is not known or no ground has it.
pub(super) fn height_correction(there: Option<f64>, asked: Option<f64>) -> f64 {
    let ground = |height: Option<f64>| height.filter(|height| GROUND_M.contains(height));
    match (ground(there), ground(asked)) {
        (Some(there), Some(asked)) => (there - asked) * LAPSE_K_PER_M,
        _ => 0.0,
    }
}

/// Whether values come in the unit that was asked for; a unit that is not said
/// is taken for it.
pub(super) fn unit(name: &str, said: Option<&str>, expected: &str) -> Result<(), String> {
    match said {
        Some(said) if said != expected => Err(format!("{name} in `{}`; expected {expected}", words(said))),
        _ => Ok(()),
    }
}

/// Whether a body is a web page.
pub(super) fn is_html(body: &[u8]) -> bool {
    body.trim_ascii_start().starts_with(b"<")
}

fn begin(body: &[u8]) -> String {
    words(&String::from_utf8_lossy(&body[..body.len().min(1_024)]))
}
