//! A season hour by hour, for tables and pictures.

use crate::field_log::FieldLog;
use crate::growth::{Bound, Growth};
use crate::plan::Plan;
use crate::season::{self, Season};
use crate::series::{Law, Quality};
use crate::time::Instant;

/// One moment of a season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// When.
    pub at: Instant,
    /// Air temperature, °C, where it is known.
    pub celsius: Option<f64>,
    /// Where the stretch that ends here comes from.
    pub quality: Quality,
    /// Growth rate at that temperature, mm or shares of the style a day.
    pub rate_per_day: Option<f64>,
    /// Number of the leg that runs then.
    pub leg: Option<usize>,
    /// At least so much of the style.
    pub progress_low: Option<f64>,
    /// At most so much of the style.
    pub progress_high: Option<f64>,
}

/// The moments of a season between `from` and `to` at which the course of
/// temperature has a reading, a forecast hour or an edge.
pub fn timeline(
    plan: &Plan,
    field_log: &FieldLog,
    growth: &Growth,
    season: &Season,
    from: Instant,
    to: Instant,
) -> Vec<Moment> {
    let ruler = season::ruler(plan, &field_log.stand(to), growth);
    let spans = &growth.course().series().spans;
    let opening = spans.first().map(|span| (span.from, span.law, span.quality, true));
    let ends = spans.iter().map(|span| (span.to, span.law, span.quality, false));
    opening
        .into_iter()
        .chain(ends)
        .map(|(at, law, quality, begins)| (Instant(at), law, quality, begins))
        .filter(|(at, ..)| from <= *at && *at <= to)
        .map(|(at, law, quality, begins)| {
            let celsius = match law {
                Law::Line(a, b) => Some(if begins { a } else { b }),
                Law::Within(..) | Law::Anything => None,
            };
            let leg = season
                .legs
                .iter()
                .rev()
                .find(|leg| leg.from <= at && leg.ended_at.is_none_or(|end| at <= end));
            let progress = |bound| {
                let lag = growth.curve().lag_seconds();
                leg.map(|leg| {
                    ruler.progress(growth.units_at(at, bound) - growth.units_at(leg.from.plus(lag), bound))
                })
            };
            Moment {
                at,
                celsius,
                quality,
                rate_per_day: celsius.map(|celsius| growth.curve().rate_per_day(celsius)),
                leg: leg.map(|leg| leg.number),
                progress_low: progress(Bound::Low),
                progress_high: progress(Bound::High),
            }
        })
        .collect()
}
