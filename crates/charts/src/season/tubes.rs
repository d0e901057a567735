//! The panel of the progress: each leg from 0, its mark, and when it is due.

use model::legs::Leg;

use super::facts;
use super::flowers::{self, MATERIAL_NAME};
use super::frame::{self, Sample};
use super::{SeasonPicture, told};
use crate::labels::{Label, Placer, Spot, shortened};
use crate::look;
use crate::scale::{TimeAxis, ValueAxis};
use crate::svg::{Anchor, Area, Canvas, Type};

mod due;
mod fan;
mod track;
use fan::Fan;
use track::Track;

const AREA: Area = frame::TUBES;
/// The axis reaches at least so far, as a share of the style.
const AT_LEAST: f64 = 1.15;
/// And at most so far; lines that go on are cut there, which is said.
const AT_MOST: f64 = 2.0;
/// Room above the highest mark for its label, as a share of the style.
const OVER_A_MARK: f64 = 0.25;
/// Longest id of a curve beside its due times, letters.
const CURVE_NAME: usize = 18;
/// Room between a mark's diamond and its label, px.
const CLEAR_OF_MARK: f64 = 8.0;

/// Draws the panel.
pub(super) fn draw(canvas: &mut Canvas, picture: &SeasonPicture<'_>, time: &TimeAxis) {
    let as_of = picture.season.as_of;
    let tracks: Vec<(&Leg, Track)> =
        picture.season.legs.iter().map(|leg| (leg, Track::of(leg, &picture.moments, as_of, time))).collect();
    let share = axis(picture, &tracks);
    let step = if share.high > 1.3 { 0.5 } else { 0.2 };
    for tick in share.ticks(step) {
        let y = share.y(tick);
        canvas.line((AREA.left, y), (AREA.right, y), look::GRID);
        frame::number(canvas, y, &told::percent(tick));
    }
    let mut placer = Placer::new(AREA);
    let foot = share.y(1.0);
    canvas.line((AREA.left, foot), (AREA.right, foot), look::LEVEL);
    let fan = Fan::of(picture, time, &share);
    if let Some(fan) = &fan {
        fan.draw(canvas, &mut placer);
    }
    for (_, track) in &tracks {
        track.draw(canvas, &mut placer, time, &share);
    }
    second_lines(canvas, &mut placer, picture, time, &share);
    keep_off_events(&mut placer, picture, time);
    frame::border(canvas, &mut placer, AREA, picture, time);
    for (leg, _) in &tracks {
        dash(canvas, &mut placer, leg, time, &share);
    }
    let dues = due::all(picture, time, &share);
    for due in &dues {
        due.mark(canvas, &mut placer);
    }
    for (leg, _) in &tracks {
        mark_name(canvas, &mut placer, picture, leg, time, &share);
    }
    for (leg, track) in &tracks {
        leg_name(canvas, &mut placer, leg, time);
        goes_on(canvas, &mut placer, track, time, &share);
    }
    for due in &dues {
        due.name(canvas, &mut placer);
    }
    if let Some(fan) = &fan {
        placer.keep_off_line(&[(AREA.left, foot), (AREA.right, foot)]);
        fan.name(canvas, &mut placer, picture);
    }
    let foot_name = Label::one("foot of the style", Type::plain(11.5, look::SOFT_INK));
    let spots: Vec<Spot> = [AREA.right - 6.0, AREA.right - 160.0, AREA.right - 320.0]
        .into_iter()
        .flat_map(|x| [foot - 16.0, foot + 2.0].map(|top| Spot { x, top, anchor: Anchor::End }))
        .chain([Spot { x: AREA.left + 6.0, top: foot - 16.0, anchor: Anchor::Start }])
        .collect();
    placer.draw(canvas, &foot_name, &spots);
    if tracks.is_empty() {
        let label = Label::one("The clock has not started", Type::plain(14.0, look::SOFT_INK));
        let top = (AREA.top + AREA.bottom) / 2.0;
        let spot = |share: f64| Spot {
            x: AREA.left + (AREA.right - AREA.left) * share,
            top,
            anchor: Anchor::Middle,
        };
        placer.draw(canvas, &label, &[spot(0.5), spot(0.25), spot(0.75)]);
    }
    frame::heading(canvas, AREA, "Pollen tubes, share of the style", &keys(picture, &tracks));
}

fn keys(picture: &SeasonPicture<'_>, tracks: &[(&Leg, Track)]) -> Vec<(Sample, String)> {
    let curve = |id: &str| format!("on curve {}", shortened(id, CURVE_NAME));
    if tracks.is_empty() {
        return Vec::new();
    }
    let mut keys = vec![(Sample::Line(look::PROGRESS), curve(&picture.plan.block.curve.id))];
    if let Some(beside) = &picture.beside {
        keys.push((Sample::Line(look::SECOND_LINE), curve(beside.curve)));
    }
    if tracks.iter().any(|(_, track)| track.goes_on_ahead()) {
        keys.push((Sample::Line(look::PROGRESS_AHEAD), "on the forecast".to_owned()));
    }
    if tracks.iter().any(|(_, track)| track.is_uncertain()) {
        keys.push((Sample::Block(look::BETWEEN), "between at least and at most".to_owned()));
    }
    keys
}

/// Keeps labels off the lines of the start and the sprays.
fn keep_off_events(placer: &mut Placer, picture: &SeasonPicture<'_>, time: &TimeAxis) {
    if let Some(start) = picture.season.start.filter(|start| time.holds(start.at)) {
        let x = time.x(start.at);
        placer.keep_off_line(&[(x, AREA.top), (x, AREA.bottom)]);
    }
    for spray in facts::sprays(picture).iter().filter(|spray| spray.ended.is_some() && time.holds(spray.at)) {
        let (left, right) = flowers::ends(spray, time);
        placer.part(Area { left: left - 2.0, right: right + 2.0, ..AREA });
    }
}

fn axis(picture: &SeasonPicture<'_>, tracks: &[(&Leg, Track)]) -> ValueAxis {
    let marks = picture.season.legs.iter().filter_map(|leg| leg.mark).map(|mark| mark + OVER_A_MARK);
    let came = tracks.iter().map(|(_, track)| track.highest() + 0.05);
    let high = marks.chain(came).fold(AT_LEAST, f64::max).min(AT_MOST);
    ValueAxis { low: 0.0, high, top: AREA.top, bottom: AREA.bottom }
}

/// From where to where a leg runs in the panel, px.
fn extent(leg: &Leg, time: &TimeAxis) -> (f64, f64) {
    let end = leg.ended_at.unwrap_or(time.to);
    (time.x(leg.from.max(time.from)), time.x(end.min(time.to)))
}

fn dash(canvas: &mut Canvas, placer: &mut Placer, leg: &Leg, time: &TimeAxis, share: &ValueAxis) {
    let Some(mark) = leg.mark else { return };
    let ((left, right), y) = (extent(leg, time), share.y(mark));
    if right > left {
        canvas.line((left, y), (right, y), look::MARK);
        placer.keep_off(Area { left, top: y - 1.5, right, bottom: y + 1.5 });
    }
}

fn mark_name(
    canvas: &mut Canvas,
    placer: &mut Placer,
    picture: &SeasonPicture<'_>,
    leg: &Leg,
    time: &TimeAxis,
    share: &ValueAxis,
) {
    let Some(mark) = leg.mark else { return };
    let ((left, right), y) = (extent(leg, time), share.y(mark));
    if right <= left {
        return;
    }
    let mut lines =
        vec![(format!("{} {}", told::bound(leg.bound), told::percent(mark)), Type::bold(12.0, look::INK))];
    if let Some(material) = facts::planned(picture.plan, leg) {
        lines.push((shortened(&material, MATERIAL_NAME), Type::plain(12.0, look::INK)));
    }
    let label = Label { lines };
    let (start, end, wide) = (left + 6.0, right - 6.0, right - left);
    let across = [
        (start, Anchor::Start),
        (end, Anchor::End),
        (left + wide / 2.0, Anchor::Middle),
        (left + wide / 4.0, Anchor::Middle),
        (right - wide / 4.0, Anchor::Middle),
    ];
    let mut spots: Vec<Spot> = across
        .into_iter()
        .flat_map(|(x, anchor)| [y - 33.0, y + 3.0].map(|top| Spot { x, top, anchor }))
        .collect();
    if leg.number == 1 {
        // Before the first leg there is nothing that it could be taken for.
        spots.insert(2, Spot { x: left - 7.0, top: y - 16.0, anchor: Anchor::End });
    }
    placer.draw(canvas, &label, &spots);
}

fn second_lines(
    canvas: &mut Canvas,
    placer: &mut Placer,
    picture: &SeasonPicture<'_>,
    time: &TimeAxis,
    share: &ValueAxis,
) {
    let Some(beside) = &picture.beside else {
        return;
    };
    for leg in &beside.season.legs {
        let points = Track::of(leg, &beside.moments, beside.season.as_of, time).low(time, share);
        canvas.path(&points, look::SECOND_LINE);
        placer.keep_off_line(&points);
    }
}

/// The leg's number at its foot and, for one without a mark, why it has none.
fn leg_name(canvas: &mut Canvas, placer: &mut Placer, leg: &Leg, time: &TimeAxis) {
    let (left, right) = extent(leg, time);
    if right <= left {
        return;
    }
    let words = match leg.mark {
        Some(_) => format!("leg {}", leg.number),
        None => format!("leg {}, no spray planned", leg.number),
    };
    let label = Label::one(words, Type::plain(12.0, look::SOFT_INK));
    let top = AREA.bottom - 19.0;
    let spots = [
        Spot { x: right - 6.0, top, anchor: Anchor::End },
        Spot { x: (left + right) / 2.0, top, anchor: Anchor::Middle },
        Spot { x: right - 6.0, top: top - 16.0, anchor: Anchor::End },
    ];
    placer.draw(canvas, &label, &spots);
}

/// Says how far a line came that leaves the panel.
fn goes_on(canvas: &mut Canvas, placer: &mut Placer, track: &Track, time: &TimeAxis, share: &ValueAxis) {
    let line = track.low(time, share);
    let Some((x, _)) = line.last().filter(|_| track.highest() > share.high) else {
        return;
    };
    let head = [(x - 5.0, AREA.top + 9.0), (x + 5.0, AREA.top + 9.0), (*x, AREA.top + 1.0)];
    canvas.shape(&head, r##"fill="#1f7a4f""##);
    let words = format!("on to {}", told::progress(track.highest()));
    let label = Label::one(words, Type::plain(12.0, look::TUBE));
    placer.draw_at(canvas, &label, (*x, AREA.top + 4.0), CLEAR_OF_MARK);
}
