//! The panel of the open flowers, with the start and the heads of the sprays.

use model::bloom::Basis;

use super::facts::{self, Sprayed};
use super::frame::{self, Sample};
use super::{SeasonPicture, told};
use crate::labels::{Label, Placer, Spot, around, shortened};
use crate::look;
use crate::scale::{TimeAxis, ValueAxis};
use crate::svg::{Anchor, Area, Canvas, Type};

mod ahead;

const AREA: Area = frame::FLOWERS;
/// Room above the highest count for its number, as a share of it.
const HEADROOM: f64 = 1.3;
/// Longest name of a material beside its spray, letters.
pub(super) const MATERIAL_NAME: usize = 26;
/// More sprays that reset nothing than this stand without their names.
const MOST_NAMED: usize = 4;

/// Draws the panel, and every spray's line down through the one below.
pub(super) fn draw(canvas: &mut Canvas, picture: &SeasonPicture<'_>, time: &TimeAxis) {
    let threshold = picture.plan.threshold();
    let counts: Vec<_> = picture.counts().into_iter().filter(|count| time.holds(count.at)).collect();
    let most = counts.iter().map(|count| count.mean).fold(threshold, f64::max).max(1.0);
    let open = ValueAxis { low: 0.0, high: most * HEADROOM, top: AREA.top, bottom: AREA.bottom };
    let mut placer = Placer::new(AREA);
    frame::number(canvas, open.y(0.0), "0");
    if threshold > 0.0 {
        let y = open.y(threshold);
        canvas.line((AREA.left, y), (AREA.right, y), look::LEVEL);
        frame::number(canvas, y, &told::flowers(threshold));
    }
    frame::border(canvas, &mut placer, AREA, picture, time);
    let sprays: Vec<_> = facts::sprays(picture).into_iter().filter(|spray| time.holds(spray.at)).collect();
    for spray in sprays.iter().filter(|spray| spray.ended.is_some()) {
        line(canvas, &mut placer, spray, time);
    }
    let odds = picture.odds.and_then(|odds| odds.start.as_ref());
    if let Some(odds) = odds {
        ahead::draw(canvas, &mut placer, odds, time, open.y(threshold));
    }
    start_mark(canvas, &mut placer, picture, time, &open);
    for count in &counts {
        let at = (time.x(count.at), open.y(count.mean));
        canvas.line((at.0, AREA.bottom), at, look::STEM);
        canvas.circle(at, 4.5, r##"fill="#b83a7c" stroke="#ffffff" stroke-width="1.2""##);
        placer.keep_off(Area { left: at.0 - 5.0, top: at.1 - 5.0, right: at.0 + 5.0, bottom: AREA.bottom });
    }
    for count in &counts {
        let label = Label::one(told::flowers(count.mean), Type::bold(12.5, look::FLOWER));
        let at = (time.x(count.at), open.y(count.mean));
        let above = Spot { x: at.0, top: at.1 - 21.0, anchor: Anchor::Middle };
        let spots: Vec<Spot> = std::iter::once(above).chain(around(&label, at, 7.0)).collect();
        placer.draw(canvas, &label, &spots);
    }
    for spray in sprays.iter().filter(|spray| spray.ended.is_some()) {
        name(canvas, &mut placer, picture, spray, time);
    }
    start_name(canvas, &mut placer, picture, time, &open);
    level_name(canvas, &mut placer, &told::flowers(threshold), open.y(threshold));
    without_reset(canvas, &mut placer, &sprays, time);
    let mut keys = Vec::new();
    if !counts.is_empty() {
        keys.push((Sample::Line(look::STEM), "counted".to_owned()));
    }
    if picture.season.start.is_some_and(|start| start.basis == Basis::BetweenCounts) {
        keys.push((Sample::Line(look::SPREAD), "90 % range of the start".to_owned()));
    }
    if odds.is_some() {
        keys.push((Sample::Line(look::SPREAD), "start, in 8 of 10 cases like this".to_owned()));
    }
    frame::heading(canvas, AREA, "Open flowers a tree", &keys);
}

/// Begin and end of a spray within the panel, px.
pub(super) fn ends(spray: &Sprayed, time: &TimeAxis) -> (f64, f64) {
    let begin = time.x(spray.at);
    let end = spray.finished_at.map_or(begin, |finish| time.x(finish.min(time.to)));
    (begin, end.max(begin))
}

fn line(canvas: &mut Canvas, placer: &mut Placer, spray: &Sprayed, time: &TimeAxis) {
    let (x, end) = ends(spray, time);
    for panel in [AREA, frame::TUBES] {
        let while_spraying = Area { left: x, right: end, ..panel };
        canvas.rect(while_spraying, r##"fill="#1d63bd" fill-opacity="0.22""##);
        canvas.line((x, panel.top), (x, panel.bottom), look::SPRAY_LINE);
    }
    let head = [(x - 6.0, AREA.top), (x + 6.0, AREA.top), (x, AREA.top + 11.0)];
    canvas.shape(&head, r##"fill="#1d63bd""##);
    placer.keep_off(Area { left: x - 6.0, top: AREA.top, right: x.max(end) + 2.0, bottom: AREA.bottom });
}

fn name(
    canvas: &mut Canvas,
    placer: &mut Placer,
    picture: &SeasonPicture<'_>,
    spray: &Sprayed,
    time: &TimeAxis,
) {
    let zone = picture.plan.zone;
    let number = spray.ended.unwrap_or_default();
    let during = told::stretch(spray.at, spray.finished_at.unwrap_or(spray.at), zone);
    let label = Label {
        lines: vec![
            (format!("Spray {number}"), Type::bold(12.5, look::SPRAY)),
            (during, Type::plain(12.0, look::SPRAY)),
            (shortened(&spray.material, MATERIAL_NAME), Type::plain(12.0, look::SPRAY)),
        ],
    };
    let (x, end) = ends(spray, time);
    let mut spots = Vec::new();
    for top in [AREA.top + 2.0, AREA.top + 20.0, AREA.top + 36.0, AREA.bottom - 50.0] {
        spots.push(Spot { x: end + 6.0, top, anchor: Anchor::Start });
        spots.push(Spot { x: x - 9.0, top, anchor: Anchor::End });
    }
    placer.draw(canvas, &label, &spots);
}

fn start_mark(
    canvas: &mut Canvas,
    placer: &mut Placer,
    picture: &SeasonPicture<'_>,
    time: &TimeAxis,
    open: &ValueAxis,
) {
    let Some(start) = picture.season.start.filter(|start| time.holds(start.at)) else {
        return;
    };
    let at = (time.x(start.at), open.y(picture.plan.threshold()));
    canvas.line(at, (at.0, AREA.bottom), look::START_LINE);
    canvas.line((at.0, frame::TUBES.top), (at.0, frame::TUBES.bottom), look::START_LINE);
    if let (Some(early), Some(late)) = (start.earliest, start.latest)
        && early < late
    {
        let (left, right) = (time.x(early.max(time.from)), time.x(late.min(time.to)));
        canvas.line((left, at.1), (right, at.1), look::SPREAD);
        for x in [left, right] {
            canvas.line((x, at.1 - 6.0), (x, at.1 + 6.0), look::SPREAD);
        }
        placer.keep_off(Area { left, top: at.1 - 6.0, right, bottom: at.1 + 6.0 });
    }
    let fill = if start.basis == Basis::Expected { "#ffffff" } else { look::FLOWER };
    let style = format!(r#"fill="{fill}" stroke="{}" stroke-width="2""#, look::FLOWER);
    let square = [(at.0, at.1 - 7.0), (at.0 + 7.0, at.1), (at.0, at.1 + 7.0), (at.0 - 7.0, at.1)];
    canvas.shape(&square, &style);
    placer.keep_off(Area { left: at.0 - 7.0, top: at.1 - 7.0, right: at.0 + 7.0, bottom: at.1 + 7.0 });
}

fn start_name(
    canvas: &mut Canvas,
    placer: &mut Placer,
    picture: &SeasonPicture<'_>,
    time: &TimeAxis,
    open: &ValueAxis,
) {
    let Some(start) = picture.season.start.filter(|start| time.holds(start.at)) else {
        return;
    };
    let label = Label {
        lines: vec![
            (told::start(&start).to_owned(), Type::bold(12.5, look::FLOWER)),
            (told::when(start.at, picture.plan.zone), Type::plain(12.0, look::FLOWER)),
        ],
    };
    let at = (time.x(start.at), open.y(picture.plan.threshold()));
    let (left, right) = (
        time.x(start.earliest.unwrap_or(start.at).clamp(time.from, start.at)) - 10.0,
        time.x(start.latest.unwrap_or(start.at).clamp(start.at, time.to)) + 10.0,
    );
    let (above, below) = (at.1 - 34.0, at.1 + 5.0);
    let mut spots = vec![
        Spot { x: right, top: below, anchor: Anchor::Start },
        Spot { x: right, top: above, anchor: Anchor::Start },
        Spot { x: left, top: above, anchor: Anchor::End },
        Spot { x: left, top: below, anchor: Anchor::End },
        Spot { x: right, top: at.1 - 14.0, anchor: Anchor::Start },
    ];
    spots.extend(around(&label, at, 10.0));
    placer.draw(canvas, &label, &spots);
}

/// Says what the dashed level means, where there is room on it.
fn level_name(canvas: &mut Canvas, placer: &mut Placer, threshold: &str, y: f64) {
    let label = Label::one(format!("the clock starts at {threshold}"), Type::plain(11.5, look::SOFT_INK));
    let across = (0..12).map(|n| AREA.right - 6.0 - f64::from(n) * 40.0);
    let spots: Vec<Spot> =
        across.flat_map(|x| [y - 16.0, y + 2.0].map(|top| Spot { x, top, anchor: Anchor::End })).collect();
    placer.draw(canvas, &label, &spots);
}

/// Sprays that left the clock running, as hollow heads at the foot.
fn without_reset(canvas: &mut Canvas, placer: &mut Placer, sprays: &[Sprayed], time: &TimeAxis) {
    let others: Vec<_> = sprays.iter().filter(|spray| spray.ended.is_none()).collect();
    for spray in &others {
        let x = time.x(spray.at);
        let y = AREA.bottom;
        let head = [(x - 5.0, y - 10.0), (x + 5.0, y - 10.0), (x, y - 1.0)];
        canvas.shape(&head, r##"fill="#ffffff" stroke="#1d63bd" stroke-width="1.5""##);
        if others.len() <= MOST_NAMED {
            let words = format!("{}, clock runs on", shortened(&spray.material, MATERIAL_NAME));
            let label = Label::one(words, Type::plain(11.5, look::SPRAY));
            placer.draw_at(canvas, &label, (x, y - 11.0), 2.0);
        }
    }
}
