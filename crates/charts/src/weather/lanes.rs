//! The lanes: one for each source.

use model::time::Instant;

use super::{LANE, LANES, LEFT, RIGHT, Seen, Sources};
use crate::labels;
use crate::look;
use crate::panel::{self, Sample};
use crate::scale::TimeAxis;
use crate::svg::{Anchor, Area, Canvas, Type};

/// From the upper edge of a lane to its bar, and the bar's height, px.
const TO_BAR: f64 = 20.0;
const BAR: f64 = 14.0;
/// Crosses closer than this to one of the same kind are not drawn, and letters closer
/// than this are pushed on, px.
const SAME_CROSS: f64 = 3.0;
const LETTER_WIDE: f64 = 10.0;
/// Half a cross, px.
const ARM: f64 = 3.5;

const NAME: Type = Type::bold(13.0, look::INK);
const LETTER: Type = Type::bold(11.0, look::INK);
const KEY: Type = Type::plain(13.0, look::SOFT_INK);

/// A letter for each word of a flag, no letter twice.
pub(super) struct Letters(Vec<(String, String)>);

impl Letters {
    /// For all words that the picture shows, in their order.
    pub(super) fn of(sources: &Sources<'_>) -> Letters {
        let shown = sources.lanes.iter().flat_map(|lane| lane.readings);
        let shown = shown.filter(|seen| sources.from <= seen.at && seen.at <= sources.to);
        let mut words: Vec<&str> = shown.filter_map(|seen| seen.flag).collect();
        words.sort_unstable();
        words.dedup();
        let mut letters: Vec<(String, String)> = Vec::new();
        for (n, word) in words.into_iter().enumerate() {
            let capitals = word.chars().filter(|c| c.is_alphanumeric()).map(|c| c.to_uppercase().to_string());
            let free = |letter: &String| !letters.iter().any(|(_, taken)| taken == letter);
            let letter = capitals.into_iter().find(free).unwrap_or_else(|| (n + 1).to_string());
            letters.push((word.to_owned(), letter));
        }
        Letters(letters)
    }

    fn letter(&self, word: &str) -> &str {
        self.0.iter().find(|(known, _)| known == word).map_or("", |(_, letter)| letter)
    }

    /// What crosses and letters mean, in lines that fit under the lanes.
    pub(super) fn lines(&self) -> Vec<String> {
        if self.0.is_empty() {
            return Vec::new();
        }
        let mut lines = vec!["× not used, + doubtful but used; ".to_owned()];
        for (n, (word, letter)) in self.0.iter().enumerate() {
            let end = if n + 1 < self.0.len() { ", " } else { "" };
            let part = format!("{letter} {}{end}", labels::shortened(word, 40));
            match lines.last_mut() {
                Some(line) if labels::width(&format!("{line}{part}"), KEY) < 940.0 => line.push_str(&part),
                _ => lines.push(part),
            }
        }
        lines
    }
}

pub(super) fn draw(canvas: &mut Canvas, sources: &Sources<'_>, time: &TimeAxis, letters: &Letters) {
    let whole = Area { left: LEFT, top: LANES, right: RIGHT, bottom: LANES };
    let keys = [
        (Sample::Block(look::BAR), "readings".to_owned()),
        (Sample::Block(look::GAP), "no usable readings".to_owned()),
    ];
    panel::heading(canvas, whole, "Sources, the most trusted first", &keys);
    for (n, lane) in sources.lanes.iter().enumerate() {
        let top = LANES + LANE * n as f64;
        if n > 0 {
            canvas.line((LEFT, top), (RIGHT, top), look::GRID);
        }
        let bar = Area { left: LEFT, top: top + TO_BAR, right: RIGHT, bottom: top + TO_BAR + BAR };
        let name = labels::shortened(lane.name, 20);
        canvas.text((24.0, bar.bottom - 2.5), Anchor::Start, NAME, &name);
        bars(canvas, lane.readings, lane.gaps, time, bar);
        crosses(canvas, lane.readings, time, letters, bar);
    }
}

/// A bar from the first to the last reading, parted where there is a gap.
fn bars(canvas: &mut Canvas, readings: &[Seen<'_>], gaps: &[(Instant, Instant)], time: &TimeAxis, bar: Area) {
    let shown: Vec<_> = readings.iter().map(|seen| seen.at).filter(|at| time.holds(*at)).collect();
    let place = |at: Instant| time.x(at.max(time.from).min(time.to));
    if let (Some(first), Some(last)) = (shown.iter().min(), shown.iter().max()) {
        let mut left = *first;
        for (from, to) in gaps.iter().filter(|(from, to)| from < to && to > first && from < last) {
            if left < *from {
                canvas.rect(Area { left: place(left), right: place(*from), ..bar }, look::BAR);
            }
            left = left.max(*to);
        }
        if left < *last {
            canvas.rect(Area { left: place(left), right: place(*last), ..bar }, look::BAR);
        }
    }
    for (from, to) in gaps.iter().filter(|(from, to)| from < to && *to > time.from && *from < time.to) {
        canvas.rect(Area { left: place(*from), right: place(*to), ..bar }, look::GAP);
    }
}

/// Flagged readings: lying crosses for those not used, standing ones for those that are.
fn crosses(canvas: &mut Canvas, readings: &[Seen<'_>], time: &TimeAxis, letters: &Letters, bar: Area) {
    let y = (bar.top + bar.bottom) / 2.0;
    let mut last: Option<(f64, bool, &str)> = None;
    let mut lettered: Option<(f64, f64, &str)> = None;
    for seen in readings.iter().filter(|seen| time.holds(seen.at)) {
        let word = seen.flag.unwrap_or_default();
        if seen.usable && seen.flag.is_none() {
            continue;
        }
        let x = time.x(seen.at);
        if last.is_some_and(|before| before.1 == seen.usable && before.2 == word && x - before.0 < SAME_CROSS)
        {
            continue;
        }
        last = Some((x, seen.usable, word));
        let arms = if seen.usable {
            [((x - ARM, y), (x + ARM, y)), ((x, y - ARM), (x, y + ARM))]
        } else {
            [((x - ARM, y - ARM), (x + ARM, y + ARM)), ((x - ARM, y + ARM), (x + ARM, y - ARM))]
        };
        for style in [look::CROSS_RIM, look::CROSS] {
            arms.iter().for_each(|(from, to)| canvas.line(*from, *to, style));
        }
        // One letter for those of a word that follow each other closely.
        let close = lettered.is_some_and(|(at, _, before)| before == word && x - at < 2.0 * LETTER_WIDE);
        let free = lettered.map_or(x, |(_, place, _)| x.max(place + LETTER_WIDE));
        if close {
            lettered = lettered.map(|(_, place, word)| (x, place, word));
        } else if free - x < 2.0 * LETTER_WIDE && free < RIGHT - 4.0 {
            canvas.text((free, bar.top - 4.0), Anchor::Middle, LETTER, letters.letter(word));
            lettered = Some((x, free, word));
        }
    }
}
