//! How well a growth curve was fitted: the curve among its observations, and
//! below what it leaves of each of them.

use model::curve::Curve;
use model::fit::Fit;

use crate::labels::shortened;
use crate::look;
use crate::svg::{Anchor, Area, Canvas, Type};

mod frame;
mod rates;
mod residuals;
mod told;

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 660.0;
const NAME: Type = Type::bold(21.0, look::INK);
const UNDER_NAME: Type = Type::plain(13.0, look::SOFT_INK);
/// Longest source that the heading has room for, letters.
const SOURCE: usize = 76;

/// The picture as an SVG document of 1000 px by 660 px, ending in a newline.
/// `curve` is the one read from the fit's document.
pub fn picture(fit: &Fit, curve: &Curve) -> String {
    let mut canvas = Canvas::new(WIDTH, HEIGHT, &told::title(fit), &told::description(fit));
    let whole = Area { left: 0.5, top: 0.5, right: WIDTH - 0.5, bottom: HEIGHT - 0.5 };
    canvas.rect(whole, &format!(r#"rx="10" fill="{}" stroke="{}""#, look::PAPER, look::FRAME));
    canvas.text((24.0, 36.0), Anchor::Start, NAME, &told::title(fit));
    let right = frame::RATES.right;
    canvas.text((right, 36.0), Anchor::End, Type::bold(14.0, look::INK), &told::goodness(fit));
    let source = format!("Source: {}", shortened(&curve.source, SOURCE));
    canvas.text((24.0, 57.0), Anchor::Start, UNDER_NAME, &source);
    canvas.text((right, 57.0), Anchor::End, UNDER_NAME, &told::covered(fit));
    let across = frame::Across::of(fit, curve);
    frame::panels(&mut canvas, &across);
    rates::draw(&mut canvas, fit, curve, &across);
    residuals::draw(&mut canvas, fit, &across);
    canvas.text((24.0, HEIGHT - 18.0), Anchor::Start, UNDER_NAME, &told::lag(fit));
    canvas.finish()
}

/// The observations as a table for the text below the picture: a row of
/// headings, then one row an observation, by temperature and time.
pub fn table(fit: &Fit) -> Vec<Vec<String>> {
    let length = told::length_unit(fit);
    let mut heading = vec!["Temperature".to_owned(), "Hours".to_owned()];
    heading.extend(["Observed", "Fitted", "Residual"].map(|what| format!("{what}, {length}")));
    let mut seen = fit.residuals.clone();
    seen.sort_by(|a, b| a.celsius.total_cmp(&b.celsius).then(a.hours.total_cmp(&b.hours)));
    let rows = seen.iter().map(|seen| {
        let mut row = vec![told::temperature(seen.celsius), told::plain(seen.hours)];
        row.extend([seen.length, seen.fitted].map(|length| format!("{length:.3}")));
        row.push(told::signed(seen.residual));
        row
    });
    std::iter::once(heading).chain(rows).collect()
}

/// The fitted figures as a table: a row of headings, then one row a figure.
pub fn figures(fit: &Fit) -> Vec<Vec<String>> {
    let heading = ["Figure", "Value", "Standard error", "95 % within"].map(str::to_owned).to_vec();
    let rows = fit.parameters.iter().map(|figure| {
        let number = |value| told::beside(value, figure.standard_error);
        let (low, high) = (figure.value - figure.half_width_95, figure.value + figure.half_width_95);
        vec![
            told::figure(&figure.name),
            format!("{} {}", number(figure.value), told::unit(&figure.unit)),
            number(figure.standard_error),
            format!("{} to {}", number(low), number(high)),
        ]
    });
    std::iter::once(heading).chain(rows).collect()
}
