//! What speaks against an hour, or is not known of it, with figure and limit.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::limits::{Limit, Status};
use super::what::What;
use crate::materials;
use crate::time::Instant;

/// One thing that speaks against an hour; without a figure nobody tells what it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reason {
    /// What it is of.
    pub what: What,
    /// What the hour has: in the unit of the limit, of rain mm in an hour, of frost °C.
    pub figure: Option<f64>,
    /// The limit, in the unit of [`What::unit`]; none for re-entry and the mark.
    pub limit: Option<f64>,
    /// The moment it hangs on: the hour of the rain, of the frost or of what is not
    /// known, and until when the interval or re-entry lasts.
    pub at: Option<Instant>,
    /// Where the limit comes from.
    pub source: Option<String>,
    /// How well that holds.
    pub status: Option<Status>,
}

impl Reason {
    /// Against a limit; `figure` is none where it is not known.
    pub(super) fn of(limit: &Limit, figure: Option<f64>, at: Option<Instant>) -> Reason {
        Reason {
            what: limit.what,
            figure,
            limit: Some(limit.at),
            at,
            source: Some(limit.source.clone()),
            status: Some(limit.status),
        }
    }

    /// Against no limit that anyone set.
    pub(super) fn by(what: What, at: Instant) -> Reason {
        Reason { what, figure: None, limit: None, at: Some(at), source: None, status: None }
    }

    /// The same in words, as `wind 6.2 m/s, limit 4.5 m/s (what our sprayer bears)`.
    pub fn told(&self, zone: Tz) -> String {
        let at = self.at.map_or(String::new(), |at| at.spoken(zone));
        let limit = match (self.limit, &self.source) {
            (Some(limit), Some(source)) => {
                format!(", limit {}{} ({source})", materials::figure(tenth(limit)), self.what.unit())
            }
            _ => String::new(),
        };
        let has = match (self.what, self.figure) {
            (What::Reentry, _) => format!("re-entry of the last spray lasts until {at}"),
            (What::Mark, _) => format!("on the wrong side of the mark, likely {at}"),
            (What::Interval, _) => format!("the interval since the last spray lasts until {at}"),
            (What::Wind, Some(speed)) => format!("wind {speed:.1} m/s"),
            (What::Gust, Some(speed)) => format!("gusts {speed:.1} m/s"),
            (What::Warmest | What::Coldest, Some(celsius)) => format!("air {celsius:.1} °C"),
            (What::Humidity, Some(percent)) => format!("humidity {percent:.0} %"),
            (What::DewPointSpread, Some(spread)) => format!("air {spread:.1} K over its dew point"),
            (What::RainFreeBefore | What::RainFreeAfter, Some(mm)) => {
                format!("rain {mm:.1} mm in the hour from {at}")
            }
            (What::DewFreeAfter, Some(spread)) => {
                format!("air {spread:.1} K over its dew point in the hour from {at}")
            }
            (What::FrostFreeBefore | What::FrostFreeAfter, Some(celsius)) => {
                format!("frost at {celsius:.1} °C, {at}")
            }
            (What::BeeQuiet, Some(celsius)) => format!("sun up and air {celsius:.1} °C"),
            (What::Wind | What::Gust | What::Humidity, None) => format!("{} not known", self.what.spoken()),
            (What::Warmest | What::Coldest, None) => "temperature not known".to_owned(),
            (What::DewPointSpread, None) => "dew point not known".to_owned(),
            (What::RainFreeBefore | What::RainFreeAfter, None) => format!("rain not known from {at} on"),
            (What::DewFreeAfter, None) => format!("dew not known from {at} on"),
            (What::FrostFreeBefore | What::FrostFreeAfter, None) => format!("frost not known from {at} on"),
            (What::BeeQuiet, None) => "sun up and temperature not known".to_owned(),
        };
        format!("{has}{limit}")
    }
}

/// To the tenth, since 85 °F has no end in °C.
fn tenth(figure: f64) -> f64 {
    (figure * 10.0).round() / 10.0
}
