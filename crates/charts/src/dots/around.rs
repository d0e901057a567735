//! What stands round the dots: nights, days, the present, and early to late.

use chrono::NaiveDate;
use model::odds::Odds;

use super::{Dots, LEFT, RIGHT};
use crate::labels;
use crate::look;
use crate::nights::nights;
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

/// Days narrower than this have no lines and names of their own, px.
const NARROW_DAY: f64 = 27.0;

const SOFT: Type = Type::plain(12.0, look::SOFT_INK);
const DAY_NAME: Type = Type::plain(12.0, look::INK);

/// Nights, midnights with the days' names, the present, and the edge of the forecast.
pub(super) fn background(canvas: &mut Canvas, dots: &Dots<'_>, time: &TimeAxis, panel: Area) {
    for (set, rise) in dots.sun.map(|sun| nights(&sun, time.from, time.to)).unwrap_or_default() {
        canvas.rect(Area { left: time.x(set), right: time.x(rise), ..panel }, look::NIGHT);
    }
    let days = time.days(dots.zone, NARROW_DAY);
    for (_, begin, _) in days.iter().filter(|(_, begin, _)| *begin > panel.left) {
        canvas.line((*begin, panel.top), (*begin, panel.bottom + 6.0), look::LEVEL);
    }
    day_names(canvas, &days, panel.bottom + 28.0);
    if time.right < panel.right {
        canvas.line((time.right, panel.top), (time.right, panel.bottom), look::MARK);
    }
    if time.holds(dots.now) {
        let x = time.x(dots.now);
        canvas.line((x, panel.top), (x, panel.bottom), look::NOW);
        let anchor = if x < LEFT + 20.0 { Anchor::Start } else { Anchor::Middle };
        canvas.text((x, panel.top - 4.0), anchor, SOFT, "now");
    } else {
        canvas.text((LEFT, panel.top - 4.0), Anchor::Start, SOFT, "← now is earlier");
    }
    if dots.sun.is_some() {
        canvas.text((RIGHT, panel.top - 4.0), Anchor::End, SOFT, "nights shaded");
    }
}

/// The names of days under the panel, the last first, for there the dots mostly lie: each
/// within its day, and none over another.
fn day_names(canvas: &mut Canvas, days: &[(NaiveDate, f64, f64)], y: f64) {
    let apart = days.windows(2).map(|pair| pair[1].1 - pair[0].1).fold(0.0, f64::max);
    let form = [("%a %-d %b", 80.0), ("%a %-d", 50.0)].into_iter().find(|(_, wide)| *wide <= apart);
    let form = form.map_or("%-d", |(form, _)| form);
    let mut free = RIGHT;
    for (date, begin, end) in days.iter().rev() {
        let name = date.format(form).to_string();
        let half = labels::width(&name, DAY_NAME) / 2.0;
        let middle = ((begin + end) / 2.0).min(free - half).max(LEFT + half);
        if (*begin..=*end).contains(&middle) && middle + half <= free + 0.1 {
            canvas.text((middle, y), Anchor::Middle, DAY_NAME, &name);
            free = middle - half - 4.0;
        }
    }
}

/// Early to late as a line under the axis with a tick at even odds.
pub(super) fn points(canvas: &mut Canvas, odds: &Odds, time: &TimeAxis, bottom: f64) {
    let Some(early) = odds.early else { return };
    let y = bottom + 10.0;
    let (first, last) = (time.x(early), odds.late.map_or(time.right, |late| time.x(late)));
    canvas.line((first, y), (last, y), look::MARK);
    canvas.line((first, y - 4.0), (first, y + 4.0), look::MARK);
    if odds.late.is_some() {
        canvas.line((last, y - 4.0), (last, y + 4.0), look::MARK);
    } else {
        let head = [(last, y - 5.0), (last + 8.0, y), (last, y + 5.0)];
        canvas.shape(&head, &format!(r#"fill="{}""#, look::INK));
    }
    if let Some(likely) = odds.likely {
        let x = time.x(likely);
        canvas.shape(
            &[(x - 5.0, y + 5.0), (x + 5.0, y + 5.0), (x, y - 5.0)],
            &format!(r#"fill="{}""#, look::INK),
        );
    }
}
