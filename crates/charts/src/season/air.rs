//! The panel of the air temperature.

use model::series::{CADENCE, Quality};
use model::time::Instant;
use model::timeline::Moment;

use super::SeasonPicture;
use super::frame::{self, Sample};
use crate::labels::{Label, Placer, Spot};
use crate::look;
use crate::scale::{self, TimeAxis, ValueAxis};
use crate::svg::{Anchor, Area, Canvas, Point, Type};

const AREA: Area = frame::AIR;
/// Narrowest grey band that its words fit into, px.
const NAMED_BAND: f64 = 78.0;

/// Draws the panel.
pub(super) fn draw(canvas: &mut Canvas, picture: &SeasonPicture<'_>, time: &TimeAxis) {
    let moments = picture.drawn();
    let celsius = axis(&moments);
    let step = if celsius.high - celsius.low > 30.0 { 10.0 } else { 5.0 };
    let unknown = unknown(&moments, time);
    for (from, to) in &unknown {
        let area = Area { left: time.x(*from), right: time.x(*to), ..AREA };
        canvas.rect(area, look::UNKNOWN);
    }
    for tick in celsius.ticks(step) {
        let y = celsius.y(tick);
        canvas.line((AREA.left, y), (AREA.right, y), look::GRID);
        frame::number(canvas, y, &format!("{tick:.0} °C"));
    }
    let mut placer = Placer::new(AREA);
    for (quality, points) in lines(&moments, time, &celsius) {
        placer.keep_off_line(&points);
        canvas.path(&points, look::line(quality));
    }
    for (from, to) in &unknown {
        let (left, right) = (time.x(*from), time.x(*to));
        if right - left >= NAMED_BAND {
            let middle = ((left + right) / 2.0, (AREA.top + AREA.bottom) / 2.0 + 4.0);
            canvas.text(middle, Anchor::Middle, Type::plain(12.0, look::INK), "no readings");
        }
    }
    if let Some(x) = frame::border(canvas, &mut placer, AREA, picture, time) {
        let label = Label::one("last reading", Type::plain(11.5, look::INK));
        let tops = [AREA.top + 2.0, AREA.bottom - 18.0];
        let spots: Vec<Spot> = tops
            .into_iter()
            .flat_map(|top| {
                [(x + 5.0, Anchor::Start), (x - 5.0, Anchor::End)].map(|(x, anchor)| Spot { x, top, anchor })
            })
            .collect();
        placer.draw(canvas, &label, &spots);
    }
    frame::heading(canvas, AREA, "Air temperature", &keys(&moments, !unknown.is_empty()));
}

fn keys(moments: &[Moment], gaps: bool) -> Vec<(Sample, String)> {
    let has = |quality| moments.iter().any(|moment| moment.celsius.is_some() && moment.quality == quality);
    let key = |quality| (Sample::Line(look::line(quality)), look::quality(quality).to_owned());
    let mut keys = vec![key(Quality::Observed)];
    if has(Quality::Filled) {
        keys.push(key(Quality::Filled));
    }
    if has(Quality::Forecast) {
        keys.push(key(Quality::Forecast));
    }
    if gaps {
        keys.push((Sample::Block(look::UNKNOWN), look::quality(Quality::Unknown).to_owned()));
    }
    keys
}

fn known(moment: &Moment) -> Option<f64> {
    moment.celsius.and_then(scale::drawable)
}

fn axis(moments: &[Moment]) -> ValueAxis {
    ValueAxis::celsius(moments.iter().filter_map(known), AREA.top, AREA.bottom)
}

/// Runs of one quality. A moment's quality is that of the stretch before it.
fn lines(moments: &[Moment], time: &TimeAxis, celsius: &ValueAxis) -> Vec<(Quality, Vec<Point>)> {
    let mut lines: Vec<(Quality, Vec<Point>)> = Vec::new();
    let mut before: Option<Point> = None;
    for moment in moments {
        let Some(value) = known(moment) else {
            before = None;
            continue;
        };
        let point = (time.x(moment.at), celsius.y(value));
        if let Some(before) = before {
            match lines.last_mut() {
                Some((quality, line)) if *quality == moment.quality && line.last() == Some(&before) => {
                    line.push(point)
                }
                _ => lines.push((moment.quality, vec![before, point])),
            }
        }
        before = Some(point);
    }
    lines
}

/// Stretches without a temperature, before the first reading too.
fn unknown(moments: &[Moment], time: &TimeAxis) -> Vec<(Instant, Instant)> {
    let Some(first) = moments.first() else {
        return vec![(time.from, time.to)];
    };
    let mut stretches: Vec<(Instant, Instant)> = Vec::new();
    if first.at.since(time.from) > CADENCE {
        stretches.push((time.from, first.at));
    }
    let mut before = time.from;
    for moment in moments {
        if known(moment).is_none() {
            match stretches.last_mut() {
                Some((_, end)) if *end == before => *end = moment.at,
                _ => stretches.push((before, moment.at)),
            }
        }
        before = moment.at;
    }
    stretches
}
