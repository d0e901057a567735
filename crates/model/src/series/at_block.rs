//! A site's course of temperature as the air of one of its blocks has it.

use crate::block::Offset;
use crate::series::{Law, Series, Span};
use crate::site::Place;
use crate::sun::Sun;
use crate::time::Instant;

impl Series {
    /// The same course with a block's offset from its site: the day's while the
    /// sun is up over `place`, the night's while it is down. Stretches are cut
    /// at sunrise and sunset, where the two differ; between them temperature
    /// runs as it did, and where it comes from does not change. Bounds of what
    /// is unknown move with it; what nothing bounds stays so.
    pub fn at_block(&self, offset: &Offset, place: &Place) -> Series {
        let (Some(begin), Some(end)) = (self.begin(), self.end()) else {
            return self.clone();
        };
        let sun = Sun::at(place.latitude, place.longitude);
        let mut shift = offset.celsius(sun.is_up(begin));
        let changes: Vec<(Instant, bool)> =
            if offset.day_c == offset.night_c { Vec::new() } else { sun.changes(begin, end) };
        let mut spans = Vec::with_capacity(self.spans.len() + changes.len());
        let mut changes = changes.into_iter().peekable();
        for span in &self.spans {
            let mut from = span.from;
            while let Some((at, up)) = changes.next_if(|(at, _)| at.0 < span.to) {
                if from < at.0 && span.law != Law::Anything {
                    spans.push(part(span, from, at.0, shift));
                    from = at.0;
                }
                shift = offset.celsius(up);
            }
            spans.push(part(span, from, span.to, shift));
        }
        Series { spans, as_of: self.as_of, ahead: self.ahead }
    }
}

/// The stretch of a span from `from` to `to`, warmer by `shift`.
fn part(span: &Span, from: i64, to: i64, shift: f64) -> Span {
    let law = match span.law {
        Law::Line(a, b) => {
            let share = |at: i64| (at - span.from) as f64 / (span.to - span.from) as f64;
            // At its own ends to the bit, so that stretches still meet there.
            let begin = if from == span.from { a } else { a + (b - a) * share(from) };
            let end = if to == span.to { b } else { a + (b - a) * share(to) };
            Law::Line(begin + shift, end + shift)
        }
        Law::Within(low, high) => Law::Within(low + shift, high + shift),
        Law::Anything => Law::Anything,
    };
    Span { from, to, law, quality: span.quality }
}

#[cfg(test)]
mod tests;
