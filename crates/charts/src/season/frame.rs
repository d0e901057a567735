//! What stands round the panels: heading, days, keys and the caution.

use model::words;

use super::{SeasonPicture, told};
use crate::labels::{Placer, shortened};
use crate::look;
use crate::panel;
pub(super) use crate::panel::{Sample, heading};
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 640.0;
const LEFT: f64 = 66.0;
const RIGHT: f64 = 976.0;

/// Panel of the air temperature.
pub(super) const AIR: Area = Area { left: LEFT, top: 92.0, right: RIGHT, bottom: 206.0 };
/// Panel of the open flowers; the sprays have their labels here too.
pub(super) const FLOWERS: Area = Area { left: LEFT, top: 234.0, right: RIGHT, bottom: 336.0 };
/// Panel of the progress.
pub(super) const TUBES: Area = Area { left: LEFT, top: 364.0, right: RIGHT, bottom: 578.0 };

const NAME: Type = Type::bold(21.0, look::INK);
const UNDER_NAME: Type = Type::plain(13.0, look::SOFT_INK);
const DAY_NAME: Type = Type::plain(12.0, look::INK);
const CAUTION: Type = Type::plain(11.5, look::SOFT_INK);

/// Longest names that the heading has room for, letters.
const BLOCK_NAME: usize = 52;
const CURVE_NAME: usize = 28;

/// The empty picture with its heading.
pub(super) fn open(picture: &SeasonPicture<'_>) -> Canvas {
    let mut canvas = Canvas::new(WIDTH, HEIGHT, &told::title(picture), &told::description(picture));
    let whole = Area { left: 0.5, top: 0.5, right: WIDTH - 0.5, bottom: HEIGHT - 0.5 };
    let paper = format!(r#"rx="10" fill="{}" stroke="{}""#, look::PAPER, look::FRAME);
    canvas.rect(whole, &paper);
    let heading = shortened(&told::title(picture), BLOCK_NAME);
    canvas.text((24.0, 36.0), Anchor::Start, NAME, &heading);
    let right = format!("State: {}", told::state(picture.season.state));
    canvas.text((RIGHT, 36.0), Anchor::End, Type::bold(14.0, look::INK), &right);
    let plan = picture.plan;
    let curve = shortened(&plan.block.curve.id, CURVE_NAME);
    let own = plan.block.curve.cultivars.contains(&plan.block.cultivar);
    let curve = if own { curve } else { format!("{curve}, not measured on this cultivar") };
    canvas.text((24.0, 57.0), Anchor::Start, UNDER_NAME, &format!("Growth curve: {curve}"));
    let read = match picture.season.as_of {
        Some(as_of) => format!("Last reading {}. ", told::when(as_of, plan.zone)),
        None => "No readings yet. ".to_owned(),
    };
    canvas.text((RIGHT, 57.0), Anchor::End, UNDER_NAME, &format!("{read}Times: {}", plan.zone.name()));
    canvas
}

/// Closes the picture with the caution that goes with every time it shows.
pub(super) fn close(mut canvas: Canvas) -> String {
    canvas.text((24.0, HEIGHT - 18.0), Anchor::Start, CAUTION, words::CAUTION);
    canvas.finish()
}

/// The time axis of all panels, when there is any time to show.
pub(super) fn time_axis(picture: &SeasonPicture<'_>) -> Option<TimeAxis> {
    (picture.to > picture.from).then_some(TimeAxis {
        from: picture.from,
        to: picture.to,
        left: LEFT,
        right: RIGHT,
    })
}

/// Says that there is nothing to draw.
pub(super) fn nothing(canvas: &mut Canvas) {
    let middle = ((LEFT + RIGHT) / 2.0, HEIGHT / 2.0);
    canvas.text(middle, Anchor::Middle, Type::plain(16.0, look::INK), "No readings and no counts yet");
}

/// The panels' backgrounds, a line at each local midnight, and the dates.
pub(super) fn days(canvas: &mut Canvas, picture: &SeasonPicture<'_>, time: &TimeAxis) {
    /// Narrowest day that its name fits under, with the weekday and without.
    const WITH_WEEKDAY: f64 = 74.0;
    const WITHOUT: f64 = 46.0;
    let panel = format!(r#"fill="{}" stroke="{}""#, look::PANEL, look::FRAME);
    for area in [AIR, FLOWERS, TUBES] {
        canvas.rect(area, &panel);
    }
    let days = time.days(picture.plan.zone, WITHOUT);
    let narrowest = days.iter().map(|(_, begin, end)| end - begin).fold(f64::INFINITY, f64::min);
    let form = if narrowest >= WITH_WEEKDAY { "%a %-d %b" } else { "%-d %b" };
    for (date, begin, end) in days {
        for area in [AIR, FLOWERS, TUBES] {
            if begin > area.left {
                canvas.line((begin, area.top), (begin, area.bottom), look::GRID);
            }
        }
        canvas.line((begin, TUBES.bottom), (begin, TUBES.bottom + 6.0), look::LEVEL);
        let name = date.format(form).to_string();
        let middle = ((begin + end) / 2.0).clamp(LEFT + 20.0, RIGHT - 20.0);
        canvas.text((middle, TUBES.bottom + 19.0), Anchor::Middle, DAY_NAME, &name);
    }
}

/// A number at the left of a panel.
pub(super) fn number(canvas: &mut Canvas, y: f64, words: &str) {
    panel::number(canvas, LEFT, y, words);
}

/// Draws the border between readings and what comes after them, where it lies
/// within the picture and not at its end, and says where it is, px.
pub(super) fn border(
    canvas: &mut Canvas,
    placer: &mut Placer,
    area: Area,
    picture: &SeasonPicture<'_>,
    time: &TimeAxis,
) -> Option<f64> {
    /// Closer than this to the end nothing is parted, px.
    const AT_THE_END: f64 = 6.0;
    let as_of = picture.season.as_of.filter(|as_of| time.holds(*as_of))?;
    let x = time.x(as_of);
    if x > time.right - AT_THE_END {
        return None;
    }
    let line = [(x, area.top), (x, area.bottom)];
    canvas.line(line[0], line[1], look::LAST_READING);
    placer.keep_off_line(&line);
    Some(x)
}
