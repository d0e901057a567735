//! Sums over temperatures that stand at knots with straight lines between, as
//! forecasts have them: the same units as a course's own sums.

use super::{Curve, Law, Quality, Span, UNITS_A_SECOND, WIDE, degree_units, rounded};
use crate::time::HOUR;

/// Growth up to each knot, in units of 2⁻⁴⁰, put behind `sums`. The second knot comes
/// `first` seconds after the first one, each later one an hour on.
pub(crate) fn along(curve: &Curve, celsius: &[f64], first: i64, sums: &mut Vec<i64>) {
    let table = &curve.table;
    let Some(begin) = celsius.first() else { return };
    let (mut before, mut area) = (*begin, table.area(*begin));
    let (mut sum, mut seconds) = (0, first as f64);
    sums.push(sum);
    for after in &celsius[1..] {
        let end = table.area(*after);
        let rise = after - before;
        sum += if rise.abs() >= WIDE {
            rounded((end - area) * (seconds * UNITS_A_SECOND / rise))
        } else {
            rounded(table.mean(before, *after) * (seconds * UNITS_A_SECOND))
        };
        sums.push(sum);
        (before, area, seconds) = (*after, end, HOUR as f64);
    }
}

/// Degree units up to each knot, put behind `sums`.
pub(crate) fn degrees_along(celsius: &[f64], first: i64, sums: &mut Vec<i64>) {
    let (mut sum, mut to) = (0, first);
    sums.push(sum);
    for pair in celsius.windows(2) {
        let span = Span { from: 0, to, law: Law::Line(pair[0], pair[1]), quality: Quality::Forecast };
        sum += degree_units(&span, to);
        sums.push(sum);
        to = HOUR;
    }
}
