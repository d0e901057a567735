//! Twenty dots on a time axis, for a phone: each stands for one case in twenty.

use chrono_tz::Tz;
use model::odds::Odds;
use model::sun::Sun;
use model::time::Instant;

use crate::chances;
use crate::labels;
use crate::look;
use crate::svg::{Anchor, Area, Canvas, Type};

mod around;
mod stacks;
use stacks::Stacks;

const WIDTH: f64 = 340.0;
const LEFT: f64 = 12.0;
const RIGHT: f64 = 328.0;
/// Side of the square that a dot has for itself, px; a stack is one bin wide.
const BIN: f64 = 11.0;
const RADIUS: f64 = 4.6;
/// Upper edge of the panel, px.
const TOP: f64 = 48.0;
/// Most dots on each other at the right edge.
const MOST_NEVER: usize = 10;
/// Where the words for early, likely and late begin, px.
const WORDS: f64 = 154.0;
const LINE: f64 = 18.0;

const NAME: Type = Type::bold(15.0, look::INK);
const POINT: Type = Type::bold(12.5, look::INK);
const SAID: Type = Type::plain(13.0, look::INK);

/// What the dots are of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dots<'a> {
    /// Whose moment, such as the block with the leg; cut where it is long.
    pub name: &'a str,
    /// Its odds.
    pub odds: &'a Odds,
    /// Zone of the wall clock.
    pub zone: Tz,
    /// The present moment.
    pub now: Instant,
    /// The sun over the place, by which nights are shaded; none: without nights.
    pub sun: Option<Sun>,
}

/// The dots as an SVG document of 340 px width, as high as they stand on each other,
/// ending in a newline.
pub fn picture(dots: &Dots<'_>) -> String {
    let (stacks, never) = (Stacks::of(dots), chances::never(dots.odds));
    let panel = Area { left: LEFT, top: TOP, right: RIGHT, bottom: TOP + stacks.height() };
    let said = words(dots, never);
    let height = panel.bottom + 46.0 + LINE * said.len() as f64;
    let mut canvas = Canvas::new(WIDTH, height, dots.name, &description(dots, never));
    let whole = Area { left: 0.5, top: 0.5, right: WIDTH - 0.5, bottom: height - 0.5 };
    canvas.rect(whole, &format!(r#"rx="8" fill="{}" stroke="{}""#, look::PAPER, look::FRAME));
    canvas.text((LEFT, 24.0), Anchor::Start, NAME, &labels::shortened(dots.name, 32));
    canvas.rect(panel, &format!(r#"fill="{}""#, look::PANEL));
    around::background(&mut canvas, dots, &stacks.time, panel);
    for (x, n) in &stacks.dots {
        canvas.circle((*x, panel.bottom - BIN * (*n as f64 + 0.5)), RADIUS, look::DOT);
    }
    for n in 0..never {
        let (column, up) = (n / MOST_NEVER, n % MOST_NEVER);
        let x = RIGHT - BIN * (column as f64 + 0.5) - 2.0;
        canvas.circle((x, panel.bottom - BIN * (up as f64 + 0.5)), RADIUS, look::DOT_NEVER);
    }
    canvas.line((LEFT, panel.bottom), (RIGHT, panel.bottom), look::MARK);
    around::points(&mut canvas, dots.odds, &stacks.time, panel.bottom);
    for (line, (name, text)) in said.iter().enumerate() {
        let y = panel.bottom + 50.0 + LINE * line as f64;
        canvas.text((LEFT, y), Anchor::Start, POINT, name);
        let x = if name.is_empty() && text.starts_with(char::is_numeric) { LEFT } else { WORDS };
        canvas.text((x, y), Anchor::Start, SAID, text);
    }
    canvas.finish()
}

/// The dots as a table: a row of headings, then one row a dot, soonest first, each as
/// exact as it is known.
pub fn table(dots: &Dots<'_>) -> Vec<Vec<String>> {
    let heading = ["Case", "When"].map(str::to_owned).to_vec();
    let all = dots.odds.dots.len();
    let rows = dots
        .odds
        .dots
        .iter()
        .enumerate()
        .map(|(n, at)| vec![format!("{} of {all}", n + 1), dots.odds.when(*at, dots.zone)]);
    std::iter::once(heading).chain(rows).collect()
}

/// The lines under the dots: a name at the left of the first line of each point.
fn words(dots: &Dots<'_>, never: usize) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    for (name, when) in chances::points(dots.odds, dots.zone) {
        for (n, text) in wrapped(&when, RIGHT - WORDS).into_iter().enumerate() {
            lines.push((if n == 0 { name.to_owned() } else { String::new() }, text));
        }
    }
    if never > 0 {
        lines.push((String::new(), not_within(dots.odds, never)));
    }
    lines
}

fn not_within(odds: &Odds, never: usize) -> String {
    format!("{never} of {} not within the forecast (hollow)", odds.dots.len())
}

/// A text in lines no wider than so many px, parted behind commas.
fn wrapped(text: &str, wide: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for part in text.split_inclusive(", ") {
        match lines.last_mut() {
            Some(line) if labels::width(&format!("{line}{part}"), SAID) <= wide => line.push_str(part),
            _ => lines.push(part.to_owned()),
        }
    }
    lines.iter().map(|line| line.trim_end().to_owned()).collect()
}

fn description(dots: &Dots<'_>, never: usize) -> String {
    let all = dots.odds.dots.len();
    let mut said = format!(
        "{all} dots on a time axis, each for one case in {all}. {}",
        chances::sentence(dots.odds, dots.zone)
    );
    if never > 0 {
        said.push_str(&format!(" {never} of {all} not within the forecast."));
    }
    said
}
