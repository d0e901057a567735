//! The worded forecast by hours, for squares whose raw grid has no temperature.

use std::collections::BTreeMap;

use model::series::Reading;
use model::time::Instant;
use serde::Deserialize;

use super::answer::{Feature, issued, json};
use super::grid::{Foretold, is_ahead, within_range};
use super::interval::moment;
use super::quantity::{Quantity, celsius, correction, if_it_fits};
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellRequest};

/// Most hours of an answer; common ones have 156.
const MOST_PERIODS: usize = 1_000;

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Hourly {
    #[serde(default, deserialize_with = "if_it_fits")]
    update_time: Option<String>,
    #[serde(default, deserialize_with = "if_it_fits")]
    elevation: Option<Quantity>,
    periods: Vec<Period>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Period {
    start_time: String,
    temperature: Option<Temperature>,
    temperature_unit: Option<String>,
}

/// The provider is moving from the first form to the second.
#[derive(Deserialize)]
#[serde(untagged)]
enum Temperature {
    /// In the unit beside it.
    Number(f64),
    Quantity(Quantity),
}

/// Reads the temperatures ahead, without the rest of the air.
pub(super) fn read(body: &[u8], cell: &CellRequest, now: Instant) -> Result<Foretold, Cause> {
    let Hourly { update_time, elevation, periods } = json::<Feature<Hourly>>(body)?.properties;
    if periods.len() > MOST_PERIODS {
        return Err(Cause::Unfit(format!("{} periods; at most {MOST_PERIODS}", periods.len())));
    }
    let shift = correction(elevation.as_ref(), cell.elevation_m);
    let mut hours = BTreeMap::new();
    for period in periods {
        let at = moment(&period.start_time)
            .ok_or_else(|| Cause::Unfit(format!("`{}` is not a time", words(&period.start_time))))?;
        let (unit, value) = match period.temperature {
            None => continue,
            Some(Temperature::Number(value)) => (period.temperature_unit, Some(value)),
            Some(Temperature::Quantity(quantity)) => (quantity.unit_code, quantity.value),
        };
        let Some(value) = value else { continue };
        let unit = unit.unwrap_or_default();
        let value = celsius(&unit, value).ok_or_else(|| {
            Cause::Unfit(format!("a temperature is in the unit `{}`, which is not known", words(&unit)))
        })?;
        if is_ahead(at, now) {
            hours.entry(at).or_insert(within_range(at, value)? + shift);
        }
    }
    let hours = hours.into_iter().map(|(at, value)| Reading::instant(at, value)).collect();
    let issued_at = issued(update_time.as_deref(), now);
    Ok(Foretold { issued_at, square: None, hours, air: Vec::new() })
}
