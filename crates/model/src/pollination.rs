//! Hours in which bees carry pollen: without them there is nothing to grow down
//! the style, however warm it is.
//!
//! An hour is fit above 12.5 °C, with wind of at most 4.5 m/s, no rain and in
//! daylight (Williams & Sims 1977, Exp. Hort. 29:15–26; read second hand).

use serde::{Deserialize, Serialize};

use crate::air::Air;
use crate::series::{Law, Series, Span};
use crate::site::Place;
use crate::sun::Sun;
use crate::time::{HOUR, Instant};

/// An hour must be warmer than this, °C.
const WARMER_THAN_C: f64 = 12.5;
/// Strongest wind, m/s.
const MOST_WIND_M_S: f64 = 4.5;
/// With fewer fit hours since a leg's start its tubes may be behind the figure
/// (common practice, no source); a plan may say another number.
pub const FEWEST_HOURS: f64 = 3.0;

/// Hours of a stretch by what is known of bees in them.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct BeeHours {
    /// Fit for pollination.
    pub fit: f64,
    /// Warm and light enough, but nobody tells wind or rain; or without a
    /// temperature.
    pub unknown: f64,
}

impl BeeHours {
    /// Whether fewer than `fewest` hours can have been fit.
    pub fn too_few(&self, fewest: f64) -> bool {
        self.fit + self.unknown < fewest
    }
}

/// The hours of one place, for bees.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bees {
    /// Begin of the first hour.
    begin: i64,
    /// Fit and unknown hours up to the begin of each.
    sums: Vec<(u32, u32)>,
}

impl Bees {
    /// Judges each whole hour of a course by the air of the place, its most
    /// trusted source first.
    pub fn judge(series: &Series, air: &[Vec<Air>], place: &Place) -> Bees {
        let (Some(begin), Some(end)) = (series.begin(), series.end()) else {
            return Bees::default();
        };
        let begin = begin.0.div_euclid(HOUR) * HOUR;
        let count = (end.0 - begin).div_euclid(HOUR).max(0) as usize;
        let told = told(air, begin, count);
        let sun = Sun::at(place.latitude, place.longitude);
        let mut sums = Vec::with_capacity(count + 1);
        let (mut fit, mut unknown, mut span) = (0, 0, 0);
        sums.push((fit, unknown));
        for (n, (wind, rain)) in told.into_iter().enumerate() {
            let middle = begin + n as i64 * HOUR + HOUR / 2;
            while series.spans.get(span).is_some_and(|span| span.to <= middle) {
                span += 1;
            }
            let warm = series.spans.get(span).and_then(|span| warm(span, middle));
            // Cheapest first: the sun is asked for warm and dry hours alone.
            let hindered = warm == Some(false)
                || wind.is_some_and(|wind| wind > MOST_WIND_M_S)
                || rain.is_some_and(|mm| mm > 0.0);
            if !hindered && sun.is_up(Instant(middle)) {
                if warm.is_some() && wind.is_some() && rain.is_some() { fit += 1 } else { unknown += 1 }
            }
            sums.push((fit, unknown));
        }
        Bees { begin, sums }
    }

    /// Whole hours that lie between two moments.
    pub fn between(&self, from: Instant, to: Instant) -> BeeHours {
        let most = self.sums.len().saturating_sub(1) as i64;
        let first = (from.0 - self.begin + HOUR - 1).div_euclid(HOUR).clamp(0, most) as usize;
        let last = (to.0 - self.begin).div_euclid(HOUR).clamp(0, most) as usize;
        if last <= first {
            return BeeHours::default();
        }
        let ((fit, unknown), (fit_then, unknown_then)) = (self.sums[last], self.sums[first]);
        BeeHours { fit: f64::from(fit - fit_then), unknown: f64::from(unknown - unknown_then) }
    }
}

/// Wind and rain of each hour from `begin` on, as the first source that has them
/// says at its end or within it.
fn told(air: &[Vec<Air>], begin: i64, count: usize) -> Vec<(Option<f64>, Option<f64>)> {
    let mut told = vec![(None, None); count];
    for source in air {
        let mut here = vec![(None, None); count];
        for air in source {
            let hour = (air.at.0 - 1 - begin).div_euclid(HOUR);
            if let Some(slot) = usize::try_from(hour).ok().and_then(|hour| here.get_mut(hour)) {
                *slot = (air.wind_m_s.or(slot.0), air.rain_mm.or(slot.1));
            }
        }
        for (slot, here) in told.iter_mut().zip(here) {
            *slot = (slot.0.or(here.0), slot.1.or(here.1));
        }
    }
    told
}

/// Whether it is warm enough in the middle of an hour, where that is known.
fn warm(span: &Span, at: i64) -> Option<bool> {
    match span.law {
        Law::Line(a, b) => {
            let share = (at - span.from) as f64 / (span.to - span.from) as f64;
            Some(a + (b - a) * share > WARMER_THAN_C)
        }
        Law::Within(_, high) if high <= WARMER_THAN_C => Some(false),
        Law::Within(low, _) if low > WARMER_THAN_C => Some(true),
        Law::Within(..) | Law::Anything => None,
    }
}

#[cfg(test)]
mod tests;
