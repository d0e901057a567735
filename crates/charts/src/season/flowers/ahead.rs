//! The odds of the start, on the level at which the clock starts.

use model::odds::Odds;
use model::time::Instant;

use crate::labels::Placer;
use crate::look;
use crate::scale::TimeAxis;
use crate::svg::{Area, Canvas};

/// A line from early to late with a tick at even odds, and an arrow where it goes on
/// beyond the picture.
pub(super) fn draw(canvas: &mut Canvas, placer: &mut Placer, odds: &Odds, time: &TimeAxis, y: f64) {
    let shown = |at: &Instant| time.holds(*at);
    let end = odds.late.filter(shown);
    let right = end.map_or(time.right - 8.0, |late| time.x(late));
    let begin = odds.early.filter(|early| *early < time.to);
    let left = begin.map_or(right, |early| time.x(early.max(time.from)).min(right));
    canvas.line((left, y), (right, y), look::SPREAD);
    for (at, half) in [(begin.filter(shown), 6.0), (odds.likely.filter(shown), 9.0), (end, 6.0)] {
        if let Some(at) = at {
            let x = time.x(at);
            canvas.line((x, y - half), (x, y + half), look::SPREAD);
        }
    }
    if end.is_none() {
        let head = [(right, y - 6.0), (right + 8.0, y), (right, y + 6.0)];
        canvas.shape(&head, &format!(r#"fill="{}""#, look::FLOWER));
    }
    placer.keep_off(Area { left, top: y - 9.0, right, bottom: y + 9.0 });
}
