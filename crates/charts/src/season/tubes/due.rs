//! The marks in the panel of the progress, and when each was reached.

use super::{CLEAR_OF_MARK, CURVE_NAME};
use crate::labels::{Label, Placer, shortened};
use crate::look;
use crate::scale::{TimeAxis, ValueAxis};
use crate::season::{SeasonPicture, told};
use crate::svg::{Area, Canvas, Point, Type};

/// A mark on one of the curves, and when it was reached or will be.
pub(super) struct Due {
    point: Point,
    half: f64,
    colour: &'static str,
    /// Filled when it was reached for certain.
    full: bool,
    /// From the early to the late edge, px.
    spread: Option<(f64, f64)>,
    label: Label,
}

impl Due {
    /// Draws the diamond and its spread.
    pub(super) fn mark(&self, canvas: &mut Canvas, placer: &mut Placer) {
        let ((x, y), half) = (self.point, self.half);
        if let Some((left, right)) = self.spread {
            let style = format!(r#"stroke="{}" stroke-width="1.6""#, self.colour);
            for x in [left, right] {
                canvas.line((x, y - 5.0), (x, y + 5.0), &style);
            }
            canvas.line((left, y), (right, y), &style);
            placer.keep_off(Area { left: left - 1.0, top: y - 5.0, right: right + 1.0, bottom: y + 5.0 });
        }
        let fill = if self.full { self.colour } else { "#ffffff" };
        let style = format!(r#"fill="{fill}" stroke="{}" stroke-width="1.6""#, self.colour);
        canvas.shape(&[(x, y - half), (x + half, y), (x, y + half), (x - half, y)], &style);
        placer.keep_off(Area { left: x - half, top: y - half, right: x + half, bottom: y + half });
    }

    /// Writes beside it when that was.
    pub(super) fn name(&self, canvas: &mut Canvas, placer: &mut Placer) {
        placer.draw_at(canvas, &self.label, self.point, CLEAR_OF_MARK);
    }
}

/// All marks in the panel, those of the block's own curve first.
pub(super) fn all(picture: &SeasonPicture<'_>, time: &TimeAxis, share: &ValueAxis) -> Vec<Due> {
    let zone = picture.plan.zone;
    let mut dues = Vec::new();
    for leg in &picture.season.legs {
        let Some(mark) = leg.mark else { continue };
        let spread = leg.reached_earliest.zip(leg.reached_latest);
        let spread = spread.filter(|(early, late)| early < late && time.holds(*early) && time.holds(*late));
        for (at, word, full) in [
            (leg.reached_at, "due", true),
            (leg.may_be_reached_since, "may be due since", false),
            (leg.expected_at, "expected", false),
        ] {
            let Some(at) = at.filter(|at| time.holds(*at)) else {
                continue;
            };
            let words = format!("{word} {}", told::when(at, zone));
            dues.push(Due {
                point: (time.x(at), share.y(mark)),
                half: 6.5,
                colour: look::TUBE,
                full,
                spread: spread.filter(|_| full).map(|(early, late)| (time.x(early), time.x(late))),
                label: Label::one(words, Type::bold(12.5, look::TUBE)),
            });
        }
    }
    let Some(beside) = &picture.beside else {
        return dues;
    };
    let curve = shortened(beside.curve, CURVE_NAME);
    for leg in &beside.season.legs {
        let at = leg.reached_at.or(leg.expected_at).filter(|at| time.holds(*at));
        let Some((mark, at)) = leg.mark.zip(at) else {
            continue;
        };
        let word = if leg.reached_at.is_some() { "due" } else { "expected" };
        dues.push(Due {
            point: (time.x(at), share.y(mark)),
            half: 4.5,
            colour: look::SECOND,
            full: false,
            spread: None,
            label: Label {
                lines: [format!("{curve}: {word}"), told::when(at, zone)]
                    .map(|line| (line, Type::plain(11.5, look::SECOND)))
                    .to_vec(),
            },
        });
    }
    dues
}
