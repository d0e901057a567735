//! Days and hours of the axis.

use chrono_tz::Tz;
use model::time::{HOUR, Instant};

use crate::look;
use crate::scale::{TimeAxis, day_begins};
use crate::svg::{Anchor, Area, Canvas, Type};

/// Hours between lines, the finest first.
const STEPS: [i64; 6] = [1, 2, 3, 6, 12, 24];
/// Narrowest distance between lines that their names fit into, px.
const APART: f64 = 52.0;
const DAY_NAME: Type = Type::bold(12.0, look::INK);
const HOUR_NAME: Type = Type::plain(12.0, look::INK);

/// Lines at whole hours, with the hours' names under the panel and the days' under those.
pub(super) fn draw(canvas: &mut Canvas, time: &TimeAxis, zone: Tz, area: Area) {
    let hour = (time.right - time.left) * HOUR as f64 / time.to.since(time.from) as f64;
    let step = STEPS.into_iter().find(|step| *step as f64 * hour >= APART).unwrap_or(24) * HOUR;
    let days = time.days(zone, 40.0);
    for (date, begin, end) in &days {
        let midnight = day_begins(*date, zone);
        let marks = (0..24 * HOUR / step).map(|n| midnight.plus(n * step));
        let next = |at: &Instant| at.local_date(zone) == *date && time.holds(*at);
        for at in marks.filter(next).filter(|_| step < 24 * HOUR) {
            let x = time.x(at);
            canvas.line((x, area.top), (x, area.bottom), look::GRID);
            let name = at.utc().with_timezone(&zone).format("%H:%M").to_string();
            let x = x.clamp(time.left, time.right - 14.0);
            canvas.text((x, area.bottom + 17.0), Anchor::Middle, HOUR_NAME, &name);
        }
        if *begin > time.left {
            canvas.line((*begin, area.top), (*begin, area.bottom + 34.0), look::LEVEL);
        }
        let forms = [("%a %-d %b", 84.0), ("%-d %b", 44.0)];
        let form = forms.into_iter().find(|(_, wide)| *wide <= end - begin);
        if let Some((form, _)) = form {
            let name = date.format(form).to_string();
            canvas.text(((begin + end) / 2.0, area.bottom + 34.0), Anchor::Middle, DAY_NAME, &name);
        }
    }
}
