//! The drawing of rows and of the axis above them.

use model::odds::Odds;
use model::time::Instant;

use super::pen::{Pen, block, short, standing};
use super::{Axis, HEIGHT, Row, WIDTH};
use crate::chances::between_dots;
use crate::labels;
use crate::look;
use crate::svg::{Anchor, Type};

const RIGHT: f64 = WIDTH as f64;
const BOTTOM: f64 = HEIGHT as f64;
const MIDDLE: f64 = BOTTOM / 2.0;
/// Half the height of the band of eight in ten, of that of the middle half, and of the
/// tick at even odds, px.
const THIN: f64 = 5.0;
const THICK: f64 = 9.0;
const TICK: f64 = 13.0;
/// Rectangles, each within the one before, that make the outer edges fade.
const STEPS: u32 = 3;
/// Where the days' names end, px.
const UNDER_DAYS: f64 = 19.0;
/// How long an arrow at an edge is, px.
const ARROW: f64 = 9.0;
/// Narrowest visible band, px.
const NARROWEST: f64 = 2.0;

const BAND: &str = r##"fill="#1f7a4f""##;
const FADED: &str = r##"fill="#1f7a4f" fill-opacity=".24""##;
const LIKELY: &str = r##"stroke="#26242b" stroke-width="2.5""##;
const DAYS: &str = r##"stroke="#cfc8b8""##;
const SPRAYED: &str = r##"fill="#12478a" stroke="#12478a""##;
const NAME: Type = Type::plain(12.0, look::INK);

/// Paper, nights, midnights, and the present from `top` down.
fn paper(pen: &mut Pen, axis: &Axis, top: f64) {
    pen.path(&block(0.0, RIGHT, 0.0, BOTTOM), &format!(r#"fill="{}""#, look::PAPER));
    let time = axis.time();
    let nights = axis.nights.iter().map(|(set, rise)| block(time.x(*set), time.x(*rise), 0.0, BOTTOM));
    pen.path(&nights.collect::<String>(), look::NIGHT);
    let days = time.days(axis.zone, 20.0).into_iter().filter(|(_, begin, _)| *begin > 0.0);
    pen.path(&days.map(|(_, begin, _)| standing(begin, 0.0, BOTTOM)).collect::<String>(), DAYS);
    if time.holds(axis.now) {
        pen.path(&standing(time.x(axis.now), top, BOTTOM), look::NOW);
    }
}

pub(super) fn header(axis: &Axis) -> String {
    let zone = axis.zone;
    let (from, to) = (axis.from.spoken(zone), axis.to.spoken(zone));
    let mut said = format!("From {from} to {to}, times of {}.", zone.name());
    if !axis.nights.is_empty() {
        said.push_str(" Nights are shaded.");
    }
    let mut pen = Pen::new((WIDTH, HEIGHT), Some(("Time axis", &said)));
    paper(&mut pen, axis, UNDER_DAYS);
    let time = axis.time();
    let days = time.days(zone, 20.0);
    let widest = days.iter().map(|(_, begin, end)| end - begin).fold(0.0, f64::max);
    let form = ["%a %-d %b", "%a %-d", "%-d"].into_iter().find(|form| {
        let wide =
            |(date, ..): &(chrono::NaiveDate, f64, f64)| labels::width(&date.format(form).to_string(), NAME);
        days.iter().map(wide).fold(0.0, f64::max) <= widest
    });
    for (date, begin, end) in days {
        let name = date.format(form.unwrap_or("%-d")).to_string();
        // A day that the axis cuts short has room for its name or stands without.
        if labels::width(&name, NAME) * 0.9 <= end - begin {
            pen.text(((begin + end) / 2.0, 14.0), Anchor::Middle, NAME, &name);
        }
    }
    if time.holds(axis.now) {
        let (x, half) = (time.x(axis.now), labels::width("now", NAME) / 2.0);
        let beside =
            if x + 2.0 * half + 6.0 < RIGHT { (x + 4.0, Anchor::Start) } else { (x - 4.0, Anchor::End) };
        pen.text((beside.0, 31.0), beside.1, NAME, "now");
    }
    pen.finish()
}

pub(super) fn row(axis: &Axis, row: &Row<'_>, said: Option<(&str, &str)>) -> String {
    let mut pen = Pen::new((WIDTH, HEIGHT), said);
    paper(&mut pen, axis, 0.0);
    if let Some(odds) = row.odds {
        fan(&mut pen, axis, odds);
    }
    let time = axis.time();
    if let Some(at) = row.reached_at.filter(|at| time.holds(*at)) {
        let d = format!("M{} {}l7 7-7 7-7-7z", short(time.x(at)), short(MIDDLE - 7.0));
        pen.path(&d, &format!(r##"fill="{}" stroke="#fff""##, look::TUBE));
    }
    if let Some(at) = row.sprayed_at.filter(|at| time.holds(*at)) {
        let (left, stem) = (short(time.x(at) - 5.0), short(BOTTOM - 9.0));
        pen.path(&format!("M{left} 0h10l-5 9v{stem}v-{stem}z"), SPRAYED);
    }
    pen.finish()
}

/// The two bands with the tick, and an arrow where they go on beyond an edge.
fn fan(pen: &mut Pen, axis: &Axis, odds: &Odds) {
    let time = axis.time();
    let right_of = |at: Option<Instant>| at.is_none_or(|at| at > axis.to);
    let (goes_on, came_before) = (right_of(odds.late), odds.early.is_some_and(|early| early < axis.from));
    if let Some(early) = odds.early.filter(|early| *early <= axis.to)
        && odds.late.is_none_or(|late| late >= axis.from)
    {
        bands(pen, axis, odds, early);
    }
    if let Some(likely) = odds.likely.filter(|likely| time.holds(*likely)) {
        pen.path(&standing(time.x(likely), MIDDLE - TICK, MIDDLE + TICK), LIKELY);
    }
    let mut arrows = String::new();
    if goes_on {
        arrows.push_str(&format!("M{} {}l9 9-9 9z", short(RIGHT - ARROW), short(MIDDLE - 9.0)));
    }
    if came_before {
        arrows.push_str(&format!("M{} {}l-9 9 9 9z", short(ARROW), short(MIDDLE - 9.0)));
    }
    pen.path(&arrows, &format!(r##"fill="{}" stroke="#fff""##, look::INK));
}

fn bands(pen: &mut Pen, axis: &Axis, odds: &Odds, early: Instant) {
    let time = axis.time();
    let place = |at: Instant| time.x(at).clamp(0.0, RIGHT);
    // What goes on beyond the right edge ends at the arrow there.
    let open = odds.late.is_none_or(|late| late > axis.to);
    let edge = if open { RIGHT - ARROW - 1.0 } else { RIGHT };
    let end = |at: Option<Instant>| at.map_or(edge, place).min(edge);
    let quarter = odds.dots.len() / 4;
    let first = place(early).min(edge - NARROWEST);
    let last = end(odds.late).max(first + NARROWEST);
    let half = between_dots(odds, quarter);
    let left = end(half).clamp(first, last);
    let right = end(between_dots(odds, odds.dots.len() - quarter)).clamp(left, last);
    pen.group(FADED);
    for step in 0..STEPS {
        let share = f64::from(step) / f64::from(STEPS);
        // What goes on does not fade.
        let inner = if open { last } else { last - (last - right) * share };
        pen.member(&block(first + (left - first) * share, inner, MIDDLE - THIN, MIDDLE + THIN));
    }
    pen.close();
    if half.is_some() && left < edge && right > 0.0 {
        pen.path(&block(left, right.max(left + NARROWEST), MIDDLE - THICK, MIDDLE + THICK), BAND);
    }
}
