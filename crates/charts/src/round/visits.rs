//! The row of one visit.

use chrono_tz::Tz;
use model::round::{Visit, Window};
use model::time::Instant;

use super::{RoundPicture, off};
use crate::labels;
use crate::look;
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

/// Narrowest box, px.
const NARROWEST: f64 = 4.0;
const TIMES: Type = Type::plain(12.0, look::INK);
const OFF: Type = Type::bold(12.0, look::INK);

pub(super) fn draw(
    canvas: &mut Canvas,
    picture: &RoundPicture<'_>,
    visit: &Visit,
    time: &TimeAxis,
    row: Area,
) {
    let place = |at: Instant| time.x(at.max(time.from).min(time.to));
    let windows = picture.stops.iter().find(|stop| stop.block == visit.block);
    let shown =
        |window: &&Window| window.end > time.from && window.begin < time.to && window.begin < window.end;
    for window in windows.into_iter().flat_map(|stop| &stop.windows).filter(shown) {
        let (left, right) = (place(window.begin), place(window.end));
        canvas.rect(Area { left, right, top: row.top + 3.0, bottom: row.bottom - 3.0 }, look::SLOT);
    }
    let middle = (row.top + row.bottom) / 2.0;
    let left = place(visit.begin);
    let right = place(visit.finish).max(left + NARROWEST);
    if visit.go < visit.begin {
        canvas.line((place(visit.go), middle), (left, middle), look::WAY);
    }
    let wrong = off(visit);
    let style = if wrong.is_some() { look::VISIT_OFF } else { look::VISIT };
    canvas.rect(Area { left, right, top: row.top + 5.0, bottom: row.bottom - 5.0 }, style);
    mark(canvas, visit, time, row);
    let look = if wrong.is_some() { OFF } else { TIMES };
    let mut words = stretch(visit, picture.zone);
    if let Some(wrong) = wrong {
        words.push_str(&format!(", {wrong}"));
    }
    let wide = labels::width(&words, look);
    let mark_at = time.x(visit.mark).clamp(time.left, time.right);
    let free = |begin: &f64| {
        let inside = *begin >= time.left + 2.0 && *begin + wide <= time.right - 2.0;
        let clear = *begin + wide <= mark_at - 6.0 || *begin >= mark_at + 6.0;
        inside && clear && (*begin + wide <= left || *begin >= right)
    };
    let before = place(visit.go).min(left);
    let spots = [right + 8.0, mark_at + 12.0, before - 8.0 - wide, mark_at - 12.0 - wide];
    let at = spots.into_iter().find(free).unwrap_or(time.right - 4.0 - wide);
    canvas.text((at, middle + 4.5), Anchor::Start, look, &words);
}

fn stretch(visit: &Visit, zone: Tz) -> String {
    let clock = |at: Instant| at.utc().with_timezone(&zone).format("%H:%M").to_string();
    format!("{}–{}", clock(visit.begin), clock(visit.finish))
}

/// A diamond at the mark's likely time, with a line from its early to its late edge; at
/// the picture's edge an arrow where it lies beyond.
fn mark(canvas: &mut Canvas, visit: &Visit, time: &TimeAxis, row: Area) {
    let place = |at: Instant| time.x(at.max(time.from).min(time.to));
    let y = (row.top + row.bottom) / 2.0;
    let (early, late) = (visit.mark_early.unwrap_or(visit.mark), visit.mark_late.unwrap_or(visit.mark));
    if early < late && late > time.from && early < time.to {
        canvas.line((place(early), row.bottom - 2.5), (place(late), row.bottom - 2.5), look::SPREAD);
    }
    let x = place(visit.mark);
    let style = format!(r##"fill="{}" stroke="#ffffff" stroke-width="1""##, look::FLOWER);
    let shape = if time.holds(visit.mark) {
        vec![(x, y - 9.0), (x + 5.0, y), (x, y + 9.0), (x - 5.0, y)]
    } else {
        let inwards = if visit.mark < time.from { 8.0 } else { -8.0 };
        vec![(x + inwards, y - 6.0), (x, y), (x + inwards, y + 6.0)]
    };
    canvas.shape(&shape, &style);
}
