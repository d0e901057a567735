//! A site's sources over the last days: what each of them read, what is missing, what
//! checking found, and above it the temperature that was joined of them.

use chrono_tz::Tz;
use model::series::{JOINED, Quality, Series};
use model::time::Instant;

use crate::labels::shortened;
use crate::look;
use crate::panel;
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

mod joined;
mod lanes;
mod told;

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 186.0;
const RIGHT: f64 = 976.0;
/// Panel of the joined temperature.
const AIR: Area = Area { left: LEFT, top: 88.0, right: RIGHT, bottom: 236.0 };
/// Upper edge of the first lane, and the height of each, px.
const LANES: f64 = 290.0;
const LANE: f64 = 42.0;

/// What the joined temperature is called.
const TEMPERATURE_USED: &str = "Temperature used";

const NAME: Type = Type::bold(21.0, look::INK);
const UNDER_NAME: Type = Type::plain(13.0, look::SOFT_INK);
const DAY_NAME: Type = Type::plain(12.0, look::INK);

/// One reading of a source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen<'a> {
    /// When.
    pub at: Instant,
    /// Air temperature, °C.
    pub celsius: f64,
    /// Whether it is used.
    pub usable: bool,
    /// The word of what checking found, such as `spike`; none where it found nothing.
    pub flag: Option<&'a str>,
}

/// One source of a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lane<'a> {
    /// What it is called.
    pub name: &'a str,
    /// Its readings, by time.
    pub readings: &'a [Seen<'a>],
    /// Stretches without usable readings, by time; see [`gaps`].
    pub gaps: &'a [(Instant, Instant)],
}

/// What a picture of a site's sources shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sources<'a> {
    /// The site's name.
    pub site: &'a str,
    /// Its zone.
    pub zone: Tz,
    /// Begin of the time axis.
    pub from: Instant,
    /// End of the time axis, later than its begin.
    pub to: Instant,
    /// The sources, the most trusted first.
    pub lanes: &'a [Lane<'a>],
    /// The one temperature made of them.
    pub joined: &'a Series,
}

impl Sources<'_> {
    fn time(&self) -> TimeAxis {
        let to = self.to.max(self.from.plus(model::time::HOUR));
        TimeAxis { from: self.from, to, left: LEFT, right: RIGHT }
    }

    /// Stretches of the joined temperature that are of one quality, within the picture.
    fn stretches(&self) -> Vec<(Instant, Instant, Quality)> {
        let mut stretches: Vec<(Instant, Instant, Quality)> = Vec::new();
        for span in &self.joined.spans {
            let (from, to) = (Instant(span.from).max(self.from), Instant(span.to).min(self.to));
            if from >= to {
                continue;
            }
            match stretches.last_mut() {
                Some((_, end, quality)) if *quality == span.quality && *end == from => *end = to,
                _ => stretches.push((from, to, span.quality)),
            }
        }
        stretches
    }
}

/// The stretches between two successive usable readings that are too long to be joined
/// (over 3 h), and those up to the first and after the last of them. `readings` are by
/// time.
pub fn gaps(readings: &[Seen<'_>], from: Instant, to: Instant) -> Vec<(Instant, Instant)> {
    let used = readings.iter().filter(|seen| seen.usable).map(|seen| seen.at);
    let edges: Vec<Instant> =
        std::iter::once(from).chain(used.filter(|at| from < *at && *at < to)).chain([to]).collect();
    let pairs = edges.windows(2).map(|pair| (pair[0], pair[1]));
    pairs.filter(|(left, right)| right.since(*left) > JOINED).collect()
}

/// The picture as an SVG document of 1000 px width, as high as there are lanes, ending in
/// a newline.
pub fn picture(sources: &Sources<'_>) -> String {
    let time = sources.time();
    let letters = lanes::Letters::of(sources);
    let bottom = LANES + LANE * sources.lanes.len() as f64;
    let key = letters.lines();
    let height = bottom + 48.0 + 18.0 * key.len() as f64;
    let title = format!("Weather sources of {}", sources.site);
    let mut canvas = Canvas::new(WIDTH, height, &title, &told::description(sources));
    panel::paper(&mut canvas, WIDTH, height);
    canvas.text((24.0, 36.0), Anchor::Start, NAME, &shortened(&title, 60));
    let zone = format!("Times: {}", sources.zone.name());
    canvas.text((RIGHT, 36.0), Anchor::End, UNDER_NAME, &zone);
    let panels = [AIR, Area { top: LANES, bottom, ..AIR }];
    for area in panels {
        canvas.rect(area, &format!(r#"fill="{}" stroke="{}""#, look::PANEL, look::FRAME));
    }
    for (date, begin, end) in time.days(sources.zone, 50.0) {
        for area in panels.iter().filter(|area| begin > area.left) {
            canvas.line((begin, area.top), (begin, area.bottom), look::GRID);
        }
        let wide = (end - begin).max(if end < RIGHT { 50.0 } else { 0.0 });
        let forms = [("%a %-d %b", 76.0), ("%-d %b", 46.0)];
        // The last day may be cut too short for its name.
        if let Some((form, _)) = forms.into_iter().find(|(_, needs)| *needs <= wide) {
            let middle = ((begin + end) / 2.0).clamp(LEFT + 20.0, RIGHT - 20.0);
            canvas.text((middle, bottom + 19.0), Anchor::Middle, DAY_NAME, &date.format(form).to_string());
        }
    }
    joined::draw(&mut canvas, sources, &time);
    lanes::draw(&mut canvas, sources, &time, &letters);
    for (n, line) in key.iter().enumerate() {
        canvas.text((24.0, bottom + 46.0 + 18.0 * n as f64), Anchor::Start, UNDER_NAME, line);
    }
    canvas.finish()
}

/// The same as a table: a row of headings, then for each source its readings, gaps and
/// what checking found, and at last what of the joined temperature is not plainly read.
pub fn table(sources: &Sources<'_>) -> Vec<Vec<String>> {
    told::table(sources)
}
