//! Twenty dots on a time axis, for a phone: each stands for one case in twenty.

use chrono::NaiveDate;
use chrono_tz::Tz;
use model::odds::Odds;
use model::sun::Sun;
use model::time::{DAY, HOUR, Instant};

use crate::chances;
use crate::labels;
use crate::look;
use crate::nights::nights;
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

const WIDTH: f64 = 340.0;
const LEFT: f64 = 12.0;
const RIGHT: f64 = 328.0;
/// Side of the square that a dot has for itself, px; a stack is one bin wide.
const BIN: f64 = 11.0;
const RADIUS: f64 = 4.6;
/// Upper edge of the panel, px.
const TOP: f64 = 48.0;
/// Room for so many dots on each other, however few there are.
const LEAST_STACK: usize = 5;
/// Most dots on each other at the right edge.
const MOST_NEVER: usize = 10;
/// Shortest axis: with less a few minutes would look like much.
const SHORTEST: i64 = DAY;
/// Days narrower than this have no lines and names of their own, px.
const NARROW_DAY: f64 = 27.0;
/// How often longer than all dots the wait for the first one is before the axis begins
/// later than now.
const LONG_WAIT: i64 = 3;
/// Where the words for early, likely and late begin, px.
const WORDS: f64 = 154.0;
const LINE: f64 = 18.0;

const NAME: Type = Type::bold(15.0, look::INK);
const SOFT: Type = Type::plain(12.0, look::SOFT_INK);
const DAY_NAME: Type = Type::plain(12.0, look::INK);
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
    background(&mut canvas, dots, &stacks.time, panel);
    for (x, n) in &stacks.dots {
        canvas.circle((*x, panel.bottom - BIN * (*n as f64 + 0.5)), RADIUS, look::DOT);
    }
    for n in 0..never {
        let (column, up) = (n / MOST_NEVER, n % MOST_NEVER);
        let x = RIGHT - BIN * (column as f64 + 0.5) - 2.0;
        canvas.circle((x, panel.bottom - BIN * (up as f64 + 0.5)), RADIUS, look::DOT_NEVER);
    }
    canvas.line((LEFT, panel.bottom), (RIGHT, panel.bottom), look::MARK);
    points(&mut canvas, dots.odds, &stacks.time, panel.bottom);
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
        .map(|(n, at)| vec![format!("{} of {all}", n + 1), chances::when(dots.odds, *at, dots.zone)]);
    std::iter::once(heading).chain(rows).collect()
}

/// Where each dot stands: the middle of its bin, and how many lie under it.
struct Stacks {
    time: TimeAxis,
    dots: Vec<(f64, usize)>,
    highest: usize,
}

impl Stacks {
    fn of(dots: &Dots<'_>) -> Stacks {
        let odds = dots.odds;
        let never = chances::never(odds);
        let columns = never.div_ceil(MOST_NEVER) as f64;
        let beside = if never > 0 { columns * BIN + 6.0 } else { 0.0 };
        let come: Vec<Instant> = odds.dots.iter().flatten().copied().collect();
        let first = come.iter().copied().min().unwrap_or(dots.now);
        let last = come.iter().copied().max().unwrap_or(dots.now);
        let last = if never > 0 { last.max(odds.horizon) } else { last };
        let wide = last.since(first).max(SHORTEST);
        let waits = first.since(dots.now) > LONG_WAIT * wide;
        let from = if waits { first.plus(-wide) } else { first.min(dots.now).plus(-2 * HOUR) };
        let to = last.max(dots.now).plus(2 * HOUR).max(from.plus(SHORTEST));
        let time = TimeAxis { from, to, left: LEFT, right: RIGHT - beside };
        let bins = ((time.right - time.left) / BIN).floor() as usize;
        let mut heights = vec![0; bins + 1];
        let place = |at: Instant| {
            let bin = (((time.x(at) - time.left) / BIN) as usize).min(bins - 1);
            let under = heights[bin];
            heights[bin] += 1;
            (time.left + BIN * (bin as f64 + 0.5), under)
        };
        let placed: Vec<(f64, usize)> = come.into_iter().map(place).collect();
        let highest = placed.iter().map(|(_, under)| under + 1).max().unwrap_or(0);
        Stacks { time, dots: placed, highest: highest.max(never.min(MOST_NEVER)) }
    }

    /// Of the panel, px.
    fn height(&self) -> f64 {
        BIN * (self.highest.max(LEAST_STACK) as f64 + 1.0) + 8.0
    }
}

/// Nights, midnights with the days' names, the present, and the edge of the forecast.
fn background(canvas: &mut Canvas, dots: &Dots<'_>, time: &TimeAxis, panel: Area) {
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
fn points(canvas: &mut Canvas, odds: &Odds, time: &TimeAxis, bottom: f64) {
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
