//! What a spray needs to know of the air beside its temperature.

use serde::{Deserialize, Serialize};

use crate::time::Instant;

/// The air at a place at one moment; what a source does not tell is none.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Air {
    /// The moment; of rain, the end of the hour in which it fell.
    pub at: Instant,
    /// Wind at 10 m, m/s.
    pub wind_m_s: Option<f64>,
    /// Strongest gust of the hour before, m/s.
    pub gust_m_s: Option<f64>,
    /// Rain and melted snow of the hour before, mm.
    pub rain_mm: Option<f64>,
    /// Relative humidity, %.
    pub humidity_percent: Option<f64>,
    /// Dew point, °C.
    pub dew_point_c: Option<f64>,
}

impl Air {
    /// Nothing known of it yet.
    pub fn at(at: Instant) -> Air {
        Air { at, ..Air::default() }
    }

    /// Whether anything is known.
    pub fn tells(&self) -> bool {
        let Air { at: _, wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c } = self;
        [wind_m_s, gust_m_s, rain_mm, humidity_percent, dew_point_c].iter().any(|value| value.is_some())
    }

    /// The same without values that no air on earth has: wind of 0 to 113 m/s
    /// (the strongest gust measured, Barrow Island 1996, WMO archive of extremes),
    /// rain of 0 to 305 mm an hour (Holt, Missouri 1947, the same), humidity of 0
    /// to 110 % (sensors overshoot), dew point of -90 to 40 °C.
    pub fn plausible(self) -> Air {
        let within =
            |value: Option<f64>, low: f64, high: f64| value.filter(|value| (low..=high).contains(value));
        Air {
            at: self.at,
            wind_m_s: within(self.wind_m_s, 0.0, 113.0),
            gust_m_s: within(self.gust_m_s, 0.0, 113.3),
            rain_mm: within(self.rain_mm, 0.0, 305.0),
            humidity_percent: within(self.humidity_percent, 0.0, 110.0),
            dew_point_c: within(self.dew_point_c, -90.0, 40.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_air_has_is_left_out_and_the_rest_kept() {
        let air = Air {
            wind_m_s: Some(-1.0),
            gust_m_s: Some(12.5),
            rain_mm: Some(f64::NAN),
            humidity_percent: Some(101.0),
            dew_point_c: Some(99.0),
            ..Air::at(Instant(3_600))
        };
        let kept = air.plausible();
        assert_eq!(
            kept,
            Air { gust_m_s: Some(12.5), humidity_percent: Some(101.0), ..Air::at(Instant(3_600)) }
        );
        assert!(kept.tells() && !Air::at(Instant(0)).tells());
    }
}
