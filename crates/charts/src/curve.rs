//! A growth curve: its rate a day over temperature, and where its data end.

use model::curve::{Curve, EndPoint, Measure};

use crate::figures::{fahrenheit, minus, plain, temperature};
use crate::labels::{fitted, shortened};
use crate::look;
use crate::panel::{self, Sample};
use crate::scale::{ValueAxis, between};
use crate::svg::{Anchor, Area, Canvas, Point, Type};

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 460.0;
const PANEL: Area = Area { left: 76.0, top: 100.0, right: 966.0, bottom: 386.0 };
const NAME: Type = Type::bold(21.0, look::INK);
const UNDER_NAME: Type = Type::plain(13.0, look::SOFT_INK);
const NUMBER: Type = Type::plain(12.0, look::SOFT_INK);
/// More nodes than this are a formula's table, and not marked.
const MOST_NODES: usize = 60;
/// Room above the greatest rate, as a share of it.
const ROOM: f64 = 0.1;
/// Step of the table, °C.
const STEP: i64 = 2;
/// Narrowest shaded part that its words fit into, px.
const NAMED: f64 = 110.0;

/// The picture as an SVG document of 1000 px by 460 px, ending in a newline.
pub fn picture(curve: &Curve) -> String {
    let title = format!("Growth curve {}", curve.id);
    let mut canvas = Canvas::new(WIDTH, HEIGHT, &title, &description(curve));
    panel::paper(&mut canvas, WIDTH, HEIGHT);
    canvas.text((24.0, 36.0), Anchor::Start, NAME, &shortened(&title, 48));
    canvas.text((PANEL.right, 36.0), Anchor::End, Type::bold(14.0, look::INK), curve.status.spoken());
    let source = fitted(&format!("Source: {}", curve.source), UNDER_NAME, WIDTH - 48.0);
    canvas.text((24.0, 58.0), Anchor::Start, UNDER_NAME, &source);
    canvas.rect(PANEL, &format!(r#"fill="{}" stroke="{}""#, look::PANEL, look::FRAME));
    let nodes: Vec<(f64, f64)> = curve.table.nodes().map(|(celsius, rate)| (celsius, rate * 24.0)).collect();
    let across = across(curve);
    let greatest = nodes.iter().map(|(_, rate)| *rate).fold(0.0, f64::max);
    let rates = ValueAxis { low: 0.0, high: greatest * (1.0 + ROOM), top: PANEL.top, bottom: PANEL.bottom };
    outside(&mut canvas, curve, &across);
    axes(&mut canvas, &across, &rates);
    let (low, high) = curve.covered;
    let parts = [
        (f64::NEG_INFINITY, low, look::FITTED_BEYOND),
        (low, high, look::FITTED),
        (high, f64::INFINITY, look::FITTED_BEYOND),
    ];
    let at = |(celsius, rate): (f64, f64)| (across.y(celsius), rates.y(rate));
    for (from, to, style) in parts {
        let points: Vec<Point> = between(&nodes, from, to).into_iter().map(at).collect();
        canvas.path(&points, style);
    }
    let marked = nodes.len() <= MOST_NODES;
    for node in nodes.iter().filter(|_| marked) {
        canvas.circle(at(*node), 4.0, look::NODE);
    }
    let mut keys = vec![
        (Sample::Line(look::FITTED), "within its data".to_owned()),
        (Sample::Line(look::FITTED_BEYOND), "outside (hatched)".to_owned()),
    ];
    if marked {
        keys.insert(0, (Sample::Dot(look::NODE), "node".to_owned()));
    }
    panel::heading(&mut canvas, PANEL, &format!("Growth, {}", unit(curve)), &keys);
    canvas.text((24.0, HEIGHT - 16.0), Anchor::Start, UNDER_NAME, &beside(curve));
    canvas.finish()
}

/// The rates as a table: a row of headings, then one row each 2 °C over the whole curve.
pub fn table(curve: &Curve) -> Vec<Vec<String>> {
    let heading = vec!["Temperature".to_owned(), format!("Rate, {}", unit(curve)), "Its data".to_owned()];
    let (first, last) = curve.table.reach();
    let even = |celsius: f64| celsius as i64 / STEP * STEP;
    let (from, to) = (even(first.floor() - 1.0), even(last.ceil() + 1.0));
    let rows = (from..=to).step_by(STEP as usize).map(|celsius| {
        let celsius = celsius as f64;
        let data = if curve.outside(celsius) { "outside" } else { "within" };
        vec![temperature(celsius), format!("{:.3}", curve.rate_per_day(celsius)), data.to_owned()]
    });
    std::iter::once(heading).chain(rows).collect()
}

/// Temperatures from left to right: an axis laid on its side.
fn across(curve: &Curve) -> ValueAxis {
    let (first, last) = curve.table.reach();
    let (low, high) = curve.covered;
    let low = ((first.min(low).max(-60.0) - 1.0) / 5.0).floor() * 5.0;
    let high = ((last.max(high).min(60.0) + 1.0) / 5.0).ceil() * 5.0;
    ValueAxis { low, high, top: PANEL.right, bottom: PANEL.left }
}

/// Shades what the curve's data did not cover.
fn outside(canvas: &mut Canvas, curve: &Curve, across: &ValueAxis) {
    let edge = |celsius: f64| across.y(celsius.clamp(across.low, across.high));
    let (low, high) = (edge(curve.covered.0), edge(curve.covered.1));
    for (left, right) in [(PANEL.left, low), (high, PANEL.right)] {
        let part = Area { left, right, ..PANEL };
        canvas.rect(part, look::UNCOVERED);
        panel::hatch(canvas, part);
        if right - left > NAMED {
            let middle = ((left + right) / 2.0, PANEL.top + 20.0);
            canvas.text(middle, Anchor::Middle, Type::plain(12.0, look::INK), "outside its data");
        }
    }
}

fn axes(canvas: &mut Canvas, across: &ValueAxis, rates: &ValueAxis) {
    for celsius in across.ticks(if across.high - across.low > 70.0 { 10.0 } else { 5.0 }) {
        let x = across.y(celsius);
        canvas.line((x, PANEL.top), (x, PANEL.bottom), look::GRID);
        let name = |scale: &str, degrees: f64| format!("{} {scale}", plain(degrees));
        canvas.text((x, PANEL.bottom + 18.0), Anchor::Middle, NUMBER, &name("°C", celsius));
        canvas.text((x, PANEL.bottom + 34.0), Anchor::Middle, NUMBER, &name("°F", fahrenheit(celsius)));
    }
    let step = panel::step(rates.high);
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    for rate in rates.ticks(step) {
        let y = rates.y(rate);
        canvas.line((PANEL.left, y), (PANEL.right, y), look::GRID);
        panel::number(canvas, PANEL.left, y, &minus(format!("{rate:.decimals$}")));
    }
}

fn unit(curve: &Curve) -> &'static str {
    match curve.measure {
        Measure::Millimetre => "mm a day",
        Measure::Style => "share of the style a day",
    }
}

/// What stands beside the rates: the lag, and what arriving means.
fn beside(curve: &Curve) -> String {
    let lag = match (curve.lag_inside, curve.lag_hours) {
        (true, _) => "The start lag is inside.".to_owned(),
        (false, hours) if hours > 0.0 => format!("A start lag of {} h stands beside it.", plain(hours)),
        _ => "No start lag is known.".to_owned(),
    };
    let end = match curve.end_point {
        EndPoint::StyleBase => "Arriving means the foot of the style.",
        EndPoint::Ovule => "Arriving means the ovule, beyond the foot of the style.",
        EndPoint::Unknown => "Whether arriving means the foot of the style is not known.",
    };
    format!("{lag} {end}")
}

fn description(curve: &Curve) -> String {
    let (first, last) = curve.table.reach();
    let best = curve.table.nodes().fold((first, 0.0), |best, node| if node.1 > best.1 { node } else { best });
    format!(
        "{} over temperature, {}. Growth between {} and {}, most at {} with {:.3}. Its data cover {} to {}. {} Source: {}",
        if curve.measure == Measure::Style { "Share of the style a day" } else { "Millimetres a day" },
        curve.status.spoken(),
        temperature(first),
        temperature(last),
        temperature(best.0),
        best.1 * 24.0,
        temperature(curve.covered.0),
        temperature(curve.covered.1),
        beside(curve),
        curve.source
    )
}
