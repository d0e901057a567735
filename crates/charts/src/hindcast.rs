//! How the legs would have gone in past springs: a row a year, its legs in days after
//! the start.

use chrono_tz::Tz;
use model::hindcast::{PastLeg, Range, Spring};
use model::time::{DAY, Instant};

use crate::look;
use crate::svg::{Anchor, Area, Canvas, Type};

const WIDTH: f64 = 1000.0;
const ROW: f64 = 22.0;
const TOP: f64 = 92.0;
const LEFT: f64 = 250.0;
const RIGHT: f64 = 960.0;
const UNDER: f64 = 64.0;
const NAME: Type = Type::bold(21.0, look::INK);
const SOFT: Type = Type::plain(13.0, look::SOFT_INK);
const CELL: Type = Type::plain(13.0, look::INK);
/// Inks of legs in turn; each bar has its number too.
const INKS: [&str; 3] = [look::TUBE, look::SECOND, look::FLOWER];

/// The springs as an SVG document of 1000 px width, ending in a newline. `name` says
/// whose and by which rule.
pub fn picture(name: &str, springs: &[Spring], ranges: &[Range], zone: Tz) -> String {
    let height = TOP + ROW * springs.len() as f64 + UNDER;
    let mut canvas = Canvas::new(WIDTH, height, name, &told(springs, ranges));
    let whole = Area { left: 0.5, top: 0.5, right: WIDTH - 0.5, bottom: height - 0.5 };
    canvas.rect(whole, &format!(r#"rx="10" fill="{}" stroke="{}""#, look::PAPER, look::FRAME));
    canvas.text((24.0, 36.0), Anchor::Start, NAME, name);
    let axis = "days after the start; a leg's number stands at its mark";
    canvas.text((24.0, 58.0), Anchor::Start, SOFT, axis);
    let longest = springs.iter().filter_map(length).fold(1.0, f64::max);
    let x = |days: f64| LEFT + days / longest * (RIGHT - LEFT);
    let bottom = TOP + ROW * springs.len() as f64;
    for day in 0..=longest as i64 {
        let at = x(day as f64);
        canvas.line((at, TOP - 8.0), (at, bottom), &format!(r#"stroke="{}""#, look::FRAME));
        if longest <= 24.0 || day % 5 == 0 {
            canvas.text((at, TOP - 14.0), Anchor::Middle, SOFT, &day.to_string());
        }
    }
    for (n, spring) in springs.iter().enumerate() {
        let top = TOP + ROW * n as f64;
        let base = top + ROW * 0.7;
        canvas.text((24.0, base), Anchor::Start, CELL, &spring.year.to_string());
        let Some(start) = spring.start else {
            canvas.text((80.0, base), Anchor::Start, SOFT, "not read");
            continue;
        };
        canvas.text((80.0, base), Anchor::Start, SOFT, &start.spoken(zone));
        for (leg, past) in spring.legs.iter().enumerate() {
            draw(&mut canvas, (leg, past), start, top, &x);
        }
    }
    for (n, range) in ranges.iter().take(2).enumerate() {
        let line = (24.0, bottom + 28.0 + 18.0 * n as f64);
        canvas.text(line, Anchor::Start, SOFT, &range_told(range));
    }
    canvas.finish()
}

fn draw(
    canvas: &mut Canvas,
    (leg, past): (usize, &PastLeg),
    start: Instant,
    top: f64,
    x: &impl Fn(f64) -> f64,
) {
    let days = |at: Instant| at.since(start) as f64 / DAY as f64;
    let Some(reached) = past.reached_at else {
        let at = x(days(past.from)) + 4.0;
        canvas.text((at, top + ROW * 0.7), Anchor::Start, SOFT, "mark not reached");
        return;
    };
    let bar =
        Area { left: x(days(past.from)), top: top + 4.0, right: x(days(reached)), bottom: top + ROW - 4.0 };
    canvas.rect(bar, &format!(r#"fill="{}" stroke="{}""#, INKS[leg % INKS.len()], look::PAPER));
    let number = Type::bold(12.0, look::INK);
    if bar.right - bar.left > 14.0 {
        canvas.text((bar.right - 5.0, top + ROW * 0.7), Anchor::End, number, &(leg + 1).to_string());
    }
}

/// Days from the start to the last mark that was reached.
fn length(spring: &Spring) -> Option<f64> {
    let end = spring.legs.iter().rev().find_map(|leg| leg.reached_at)?;
    Some(end.since(spring.start?) as f64 / DAY as f64)
}

fn range_told(range: &Range) -> String {
    let (least, middle, most) = range.hours;
    let days = |hours: f64| hours / 24.0;
    format!(
        "Leg {}: {:.1} to {:.1} days, {:.1} in the middle, of {} springs.",
        range.leg,
        days(least),
        days(most),
        days(middle),
        range.n
    )
}

fn told(springs: &[Spring], ranges: &[Range]) -> String {
    let ranges: Vec<String> = ranges.iter().map(range_told).collect();
    format!("{} springs. {}", springs.len(), ranges.join(" "))
}

/// The same as a table: a row of headings, then one row a leg.
pub fn table(springs: &[Spring], zone: Tz) -> Vec<Vec<String>> {
    let heading =
        ["Year", "Start", "Leg", "Mark", "Reached", "Hours", "Not read, h"].map(str::to_owned).to_vec();
    let moment = |at: Option<Instant>| at.map_or_else(|| "-".to_owned(), |at| at.spoken(zone));
    let rows = springs.iter().flat_map(|spring| {
        let bare = vec![spring.year.to_string(), moment(spring.start)];
        if spring.legs.is_empty() {
            return vec![[bare, ["-"; 5].map(str::to_owned).to_vec()].concat()];
        }
        let row = |(n, leg): (usize, &PastLeg)| {
            let hours = leg.hours.map_or_else(|| "-".to_owned(), |hours| format!("{hours:.1}"));
            let more = vec![
                (n + 1).to_string(),
                format!("{:.2}", leg.mark),
                moment(leg.reached_at),
                hours,
                format!("{:.0}", spring.unknown_hours),
            ];
            [bare.clone(), more].concat()
        };
        spring.legs.iter().enumerate().map(row).collect()
    });
    std::iter::once(heading).chain(rows).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spring(year: i32, reached: Option<i64>) -> Spring {
        let start = Instant(1_367_193_600);
        let reached_at = reached.map(|hours| start.plus(hours * 3_600));
        let leg = PastLeg {
            mark: 0.6,
            from: start,
            reached_at,
            reached_earliest: reached_at,
            hours: reached.map(|hours| hours as f64),
        };
        Spring { year, start: Some(start), legs: vec![leg], unknown_hours: 0.0 }
    }

    #[test]
    fn each_year_has_its_row_and_the_picture_is_sound() {
        let none = Spring { year: 2012, start: None, legs: Vec::new(), unknown_hours: 0.0 };
        let springs = [none, spring(2013, Some(52)), spring(2014, None)];
        let ranges = model::hindcast::ranges(&springs);
        let svg = picture("Ridge <&>", &springs, &ranges, Tz::UTC);
        let read = roxmltree::Document::parse(&svg).unwrap();
        let texts: Vec<&str> = read.descendants().filter_map(|node| node.text()).collect();
        for text in ["2012", "2013", "2014", "not read", "mark not reached", "Ridge <&>"] {
            assert!(texts.iter().any(|found| found.trim() == text), "{text}");
        }
        assert!(svg.contains("Leg 1: 2.2 to 2.2 days, 2.2 in the middle, of 1 springs."));
        let rows = table(&springs, Tz::UTC);
        assert_eq!(rows.iter().map(|row| row[5].as_str()).collect::<Vec<_>>(), ["Hours", "-", "52.0", "-"]);
        assert!(rows.iter().all(|row| row.len() == 7));
    }
}
