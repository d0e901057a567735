//! The air hour by hour, as readings and forecast have it.

use crate::air::Air;
use crate::series::{Law, Series};
use crate::time::{HOUR, Instant};

/// Constants of the Magnus form of water's vapour pressure: Alduchov and Eskridge
/// 1996, J. Appl. Meteor. 35:601 (published; from memory), good to 0.4 % from −40 to
/// 50 °C.
const MAGNUS: (f64, f64) = (17.625, 243.04);

/// Most hours that are looked at: three weeks, longer than any forecast by the hour.
const MOST_HOURS: i64 = 21 * 24;

/// One whole hour of UTC.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hour {
    /// When it begins.
    pub from: Instant,
    /// Least and greatest temperature in it, °C; none unless all of it is known.
    pub celsius: Option<(f64, f64)>,
    /// Wind, gust, rain, humidity and dew point by the most trusted source that tells
    /// each: the worst that it says of the hour, which ends at `air.at`.
    pub air: Air,
}

impl Hour {
    /// When it ends.
    pub fn to(&self) -> Instant {
        self.from.plus(HOUR)
    }

    /// Relative humidity, %: as told, else from the dew point at the coldest of the
    /// hour.
    pub fn humidity_percent(&self) -> Option<f64> {
        self.air.humidity_percent.or_else(|| Some(humidity(self.celsius?.0, self.air.dew_point_c?)))
    }

    /// Air over its dew point, K: from the dew point at the coldest of the hour, else
    /// from the humidity at the middle of its range.
    pub fn dew_point_spread(&self) -> Option<f64> {
        let (least, most) = self.celsius?;
        if let Some(dew_point) = self.air.dew_point_c {
            return Some((least - dew_point).max(0.0));
        }
        let middle = f64::midpoint(least, most);
        Some((middle - dew_point(middle, self.air.humidity_percent?)).max(0.0))
    }
}

/// Relative humidity, %, of air at `celsius` with that dew point, °C by the Magnus form.
pub fn humidity(celsius: f64, dew_point_c: f64) -> f64 {
    let (a, b) = MAGNUS;
    let exponent = a * dew_point_c / (b + dew_point_c) - a * celsius / (b + celsius);
    100.0 * libm::exp(exponent)
}

/// Dew point, °C, of air at `celsius` and that relative humidity, %, of which the
/// least taken is 1, by the Magnus form.
pub fn dew_point(celsius: f64, humidity_percent: f64) -> f64 {
    let (a, b) = MAGNUS;
    let gamma = libm::log(humidity_percent.max(1.0) / 100.0) + a * celsius / (b + celsius);
    b * gamma / (a - gamma)
}

/// Hours in a row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hours {
    hours: Vec<Hour>,
}

impl Hours {
    /// The whole hours of UTC from the one in which `from` lies up to the one in which
    /// `until` does: temperature as the series joins readings and forecast, the rest
    /// from the air of each source, the most trusted first. A temperature within bounds
    /// only is not known; what lies more than three weeks after `from` is left out.
    pub fn of(series: &Series, air: &[Vec<Air>], from: Instant, until: Instant) -> Hours {
        let begin = from.0.div_euclid(HOUR);
        let count = (until.0 + HOUR - 1).div_euclid(HOUR).saturating_sub(begin).clamp(0, MOST_HOURS);
        let mut span = series.spans.partition_point(|span| span.to <= begin * HOUR);
        let mut hours = Vec::with_capacity(count as usize);
        for hour in begin..begin + count {
            let (from, to) = (hour * HOUR, (hour + 1) * HOUR);
            while series.spans.get(span).is_some_and(|span| span.to <= from) {
                span += 1;
            }
            let celsius = range(series, span, from, to);
            hours.push(Hour { from: Instant(from), celsius, air: Air::at(Instant(to)) });
        }
        for source in air {
            let mut here: Vec<Air> = hours.iter().map(|hour| hour.air).collect();
            here.iter_mut().for_each(|air| *air = Air::at(air.at));
            for air in source {
                let hour = (air.at.0 - 1).div_euclid(HOUR) - begin;
                if let Some(slot) = usize::try_from(hour).ok().and_then(|hour| here.get_mut(hour)) {
                    worse(slot, &air.plausible());
                }
            }
            for (hour, here) in hours.iter_mut().zip(here) {
                fill(&mut hour.air, &here);
            }
        }
        Hours { hours }
    }

    /// All of them in order.
    pub fn all(&self) -> &[Hour] {
        &self.hours
    }

    /// The hours that overlap `[from, to)`, and whether they cover it.
    pub(super) fn within(&self, from: Instant, to: Instant) -> (&[Hour], bool) {
        let first = self.hours.partition_point(|hour| hour.to() <= from);
        let after = self.hours.partition_point(|hour| hour.from < to).max(first);
        let part = &self.hours[first..after];
        let covered = part.first().is_some_and(|hour| hour.from <= from)
            && part.last().is_some_and(|hour| hour.to() >= to);
        (part, covered || to <= from)
    }
}

/// Least and greatest temperature between two moments, where every span from the
/// `first` on is known.
fn range(series: &Series, first: usize, from: i64, to: i64) -> Option<(f64, f64)> {
    let mut reached = from;
    let mut range: Option<(f64, f64)> = None;
    for span in series.spans.get(first..)? {
        if reached >= to {
            break;
        }
        if span.from > reached {
            return None;
        }
        let Law::Line(a, b) = span.law else { return None };
        let along = |at: i64| a + (b - a) * ((at - span.from) as f64 / (span.to - span.from) as f64);
        for celsius in [along(span.from.max(from)), along(span.to.min(to))] {
            let (least, most) = range.unwrap_or((celsius, celsius));
            range = Some((least.min(celsius), most.max(celsius)));
        }
        reached = span.to;
    }
    range.filter(|_| reached >= to)
}

/// Of two figures of one hour the one that speaks more against it.
fn worse(kept: &mut Air, other: &Air) {
    let most = |kept: &mut Option<f64>, other: Option<f64>| {
        *kept = match (*kept, other) {
            (Some(kept), Some(other)) => Some(kept.max(other)),
            (kept, other) => kept.or(other),
        };
    };
    most(&mut kept.wind_m_s, other.wind_m_s);
    most(&mut kept.gust_m_s, other.gust_m_s);
    most(&mut kept.rain_mm, other.rain_mm);
    most(&mut kept.humidity_percent, other.humidity_percent);
    most(&mut kept.dew_point_c, other.dew_point_c);
}

/// What is not there yet, from the next source. Humidity and dew point go together:
/// one source's humidity is not to stand beside another's dew point.
fn fill(kept: &mut Air, other: &Air) {
    kept.wind_m_s = kept.wind_m_s.or(other.wind_m_s);
    kept.gust_m_s = kept.gust_m_s.or(other.gust_m_s);
    kept.rain_mm = kept.rain_mm.or(other.rain_mm);
    if kept.humidity_percent.is_none() && kept.dew_point_c.is_none() {
        kept.humidity_percent = other.humidity_percent;
        kept.dew_point_c = other.dew_point_c;
    }
}
