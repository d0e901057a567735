//! The sprayers' round by time: a lane for each sprayer with its blocks in order, their
//! slots behind, and the marks.

use chrono_tz::Tz;
use model::plan::MarkBound;
use model::round::{Round, Stop, Visit};
use model::time::{HOUR, Instant};

use crate::labels::{fitted, shortened};
use crate::look;
use crate::panel::{self, Sample};
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

mod hours;
mod visits;

const WIDTH: f64 = 1000.0;
const LEFT: f64 = 216.0;
const RIGHT: f64 = 976.0;
const TOP: f64 = 84.0;
/// Height of a sprayer's heading and of each of its blocks, px.
const HEADING: f64 = 28.0;
const ROW: f64 = 26.0;
/// Shortest axis: with less a few minutes would look like much.
const SHORTEST: i64 = 4 * HOUR;
/// Marks so far beyond the work still lie on the axis.
const MARK_NEAR: i64 = 6 * HOUR;
/// Most blocks that are named as left out; the table has all of them.
const MOST_LEFT_OUT: usize = 8;

const NAME: Type = Type::bold(21.0, look::INK);
const SOFT: Type = Type::plain(13.0, look::SOFT_INK);
const SPRAYER: Type = Type::bold(13.0, look::INK);
const SAID: Type = Type::plain(13.0, look::INK);

/// What a picture of a round shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoundPicture<'a> {
    /// Whose round, such as the farm's name.
    pub name: &'a str,
    /// The round as planned.
    pub round: &'a Round,
    /// The blocks that it was planned from, for their slots.
    pub stops: &'a [Stop],
    /// Zone of the wall clock.
    pub zone: Tz,
}

impl RoundPicture<'_> {
    fn visits(&self) -> impl Iterator<Item = &Visit> {
        self.round.runs.iter().flat_map(|run| &run.visits)
    }

    /// From the first way to the last finish with the marks near them, in whole hours;
    /// none without a visit.
    fn time(&self) -> Option<TimeAxis> {
        let first = self.visits().map(|visit| visit.go).min()?;
        let last = self.visits().map(|visit| visit.finish).max()?.max(first);
        let near = first.plus(-MARK_NEAR)..=last.plus(MARK_NEAR);
        let marks = || self.visits().map(|visit| visit.mark).filter(|mark| near.contains(mark));
        let from = marks().fold(first, Instant::min).0.div_euclid(HOUR) * HOUR;
        let to = (marks().fold(last, Instant::max).0 + HOUR).div_euclid(HOUR) * HOUR;
        Some(TimeAxis { from: Instant(from), to: Instant(to.max(from + SHORTEST)), left: LEFT, right: RIGHT })
    }
}

/// The round as an SVG document of 1000 px width, as high as there are blocks, ending in
/// a newline.
pub fn picture(picture: &RoundPicture<'_>) -> String {
    let round = picture.round;
    let lanes: f64 = round.runs.iter().map(|run| HEADING + ROW * run.visits.len() as f64).sum();
    let bottom = TOP + lanes.max(HEADING);
    let left_out = left_out(picture);
    let height = bottom + 52.0 + 20.0 * left_out.len() as f64;
    let title = format!("Sprayers' round, {}", picture.name);
    let mut canvas = Canvas::new(WIDTH, height, &title, &description(picture));
    panel::paper(&mut canvas, WIDTH, height);
    canvas.text((24.0, 36.0), Anchor::Start, NAME, &shortened(&title, 56));
    let zone = format!("Times: {}", picture.zone.name());
    canvas.text((RIGHT, 36.0), Anchor::End, SOFT, &zone);
    let area = Area { left: LEFT, top: TOP, right: RIGHT, bottom };
    canvas.rect(area, &format!(r#"fill="{}" stroke="{}""#, look::PANEL, look::FRAME));
    let time = picture.time();
    match &time {
        Some(time) => hours::draw(&mut canvas, time, picture.zone, area),
        None => {
            let middle = ((LEFT + RIGHT) / 2.0, (TOP + bottom) / 2.0 + 4.0);
            canvas.text(middle, Anchor::Middle, SAID, "No block is on the round");
        }
    }
    let mut top = TOP;
    for run in &round.runs {
        if top > TOP {
            canvas.line((24.0, top), (RIGHT, top), look::LANE);
        }
        let many = match run.visits.len() {
            0 => "nothing to do".to_owned(),
            1 => "1 block".to_owned(),
            many => format!("{many} blocks"),
        };
        let words = format!("{}: {many}", shortened(&run.sprayer, 16));
        canvas.text((24.0, top + 19.0), Anchor::Start, SPRAYER, &words);
        top += HEADING;
        for (n, visit) in run.visits.iter().enumerate() {
            let row = Area { top, bottom: top + ROW, ..area };
            let words = format!("{}. {}", n + 1, shortened(&visit.block, 20));
            canvas.text((36.0, top + 17.5), Anchor::Start, SAID, &words);
            if let Some(time) = &time {
                visits::draw(&mut canvas, picture, visit, time, row);
            }
            top += ROW;
        }
    }
    keys(&mut canvas, area);
    for (n, line) in left_out.iter().enumerate() {
        canvas.text((24.0, bottom + 58.0 + 20.0 * n as f64), Anchor::Start, SAID, line);
    }
    canvas.finish()
}

fn keys(canvas: &mut Canvas, area: Area) {
    let keys = [
        (Sample::Block(look::SLOT), "slot"),
        (Sample::Line(look::WAY), "on the way"),
        (Sample::Block(look::VISIT), "spraying"),
        (Sample::Block(look::VISIT_OFF), "on the wrong side of its mark"),
        (Sample::Line(look::SPREAD), "mark (diamond), early to late"),
    ];
    let keys = keys.map(|(sample, words)| (sample, words.to_owned()));
    panel::heading(canvas, area, "", &keys);
}

/// How far a visit lies on the wrong side of its mark; none where it does not.
fn off(visit: &Visit) -> Option<String> {
    let hours = |seconds: i64| format!("{:.1} h", seconds as f64 / HOUR as f64);
    (!visit.in_time()).then(|| match visit.bound {
        MarkBound::NotBefore => format!("{} before its mark", hours(visit.early)),
        MarkBound::NotAfter => format!("{} after its mark", hours(visit.late)),
    })
}

fn left_out(picture: &RoundPicture<'_>) -> Vec<String> {
    let all = &picture.round.left_out;
    let mut lines: Vec<String> = all
        .iter()
        .take(MOST_LEFT_OUT)
        .map(|left| fitted(&left.told(picture.zone), SAID, WIDTH - 48.0))
        .collect();
    if all.len() > MOST_LEFT_OUT {
        lines.push(format!("{} more blocks are left out.", all.len() - MOST_LEFT_OUT));
    }
    lines
}

fn description(picture: &RoundPicture<'_>) -> String {
    let (round, zone) = (picture.round, picture.zone);
    let blocks = picture.visits().count();
    let mut said = vec![format!("{blocks} blocks, {} left out.", round.left_out.len())];
    for run in round.runs.iter().filter(|run| !run.visits.is_empty()) {
        let visits = run.visits.iter().map(|visit| format!("{} {}", visit.block, visit.begin.spoken(zone)));
        said.push(format!("{}: {}.", run.sprayer, visits.collect::<Vec<_>>().join("; ")));
    }
    said.join(" ")
}

/// The round as a table: a row of headings, then one row a visit in the order of each
/// sprayer, then the blocks that are left out with the reason.
pub fn table(picture: &RoundPicture<'_>) -> Vec<Vec<String>> {
    let zone = picture.zone;
    let heading = ["Sprayer", "Block", "Set out", "Begin", "Finish", "Mark", "What else"];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for run in &picture.round.runs {
        for visit in &run.visits {
            let fills = (visit.fills > 0).then(|| format!("fillings: {}", visit.fills));
            let what: Vec<String> = off(visit).into_iter().chain(fills).collect();
            let times = [visit.go, visit.begin, visit.finish].map(|at| at.spoken(zone));
            let mut row = vec![run.sprayer.clone(), visit.block.clone()];
            row.extend(times);
            row.push(format!("{} {}", visit.bound.spoken(), visit.mark.spoken(zone)));
            row.push(if what.is_empty() { "-".to_owned() } else { what.join("; ") });
            rows.push(row);
        }
    }
    for left in &picture.round.left_out {
        let mut row = vec!["-".to_owned(), left.block.clone()];
        row.extend(["-"; 4].map(str::to_owned));
        row.push(left.told(zone));
        rows.push(row);
    }
    rows
}
