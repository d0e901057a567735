//! The line of one leg, in time and in pixels.

use model::legs::Leg;
use model::time::Instant;
use model::timeline::Moment;

use crate::labels::Placer;
use crate::look;
use crate::scale::{TimeAxis, ValueAxis};
use crate::svg::{Canvas, Point};

/// How far the tubes of one leg had come, moment by moment.
pub(super) struct Track {
    /// At least so much of the style.
    low: Vec<(Instant, f64)>,
    /// At most so much of the style.
    high: Vec<(Instant, f64)>,
    /// How many of `low` rest on readings; the others on the forecast.
    read: usize,
}

impl Track {
    /// The part of a leg that lies on the time axis: from 0 at its begin
    /// through the hours to its end, on the mark where it was reached.
    pub(super) fn of(leg: &Leg, moments: &[Moment], as_of: Option<Instant>, time: &TimeAxis) -> Track {
        let mut low = vec![(leg.from, 0.0)];
        let mut high = low.clone();
        for moment in moments.iter().filter(|moment| moment.leg == Some(leg.number) && moment.at > leg.from) {
            let values = moment.progress_low.zip(moment.progress_high);
            if let Some((least, most)) = values.filter(|(least, most)| least.is_finite() && most.is_finite())
            {
                low.push((moment.at, least.max(0.0)));
                high.push((moment.at, most.max(least).max(0.0)));
            }
        }
        if let Some(end) = leg.ended_at.filter(|end| as_of.is_some_and(|as_of| *end <= as_of)) {
            low.push((end, leg.progress_low));
            high.push((end, leg.progress_high.max(leg.progress_low)));
        }
        if let (Some(mark), Some(at)) = (leg.mark, leg.reached_at.or(leg.expected_at)) {
            low.push((at, mark));
        }
        for line in [&mut low, &mut high] {
            line.retain(|(at, share)| time.holds(*at) && share.is_finite());
            line.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        }
        let read = low.partition_point(|(at, _)| as_of.is_some_and(|as_of| *at <= as_of));
        Track { low, high, read }
    }

    /// The furthest that is shown of it, at least.
    pub(super) fn highest(&self) -> f64 {
        self.low.last().map_or(0.0, |(_, share)| *share)
    }

    /// Whether low and high part.
    pub(super) fn is_uncertain(&self) -> bool {
        const SEEN: f64 = 0.002;
        self.low.last().zip(self.high.last()).is_some_and(|(low, high)| high.1 - low.1 > SEEN)
    }

    /// Whether any of it rests on the forecast.
    pub(super) fn goes_on_ahead(&self) -> bool {
        self.read < self.low.len() && self.low.len() >= 2
    }

    /// The line in pixels, cut where it leaves the panel.
    pub(super) fn low(&self, time: &TimeAxis, share: &ValueAxis) -> Vec<Point> {
        pixels(&self.low, time, share)
    }

    pub(super) fn draw(&self, canvas: &mut Canvas, placer: &mut Placer, time: &TimeAxis, share: &ValueAxis) {
        let low = self.low(time, share);
        if let (Some(first), Some(last)) = (low.first(), low.last()) {
            let mut under = low.clone();
            under.extend([(last.0, share.bottom), (first.0, share.bottom)]);
            canvas.shape(&under, look::UNDER_PROGRESS);
        }
        if self.is_uncertain() {
            let mut band = pixels(&self.high, time, share);
            band.extend(low.iter().rev());
            canvas.shape(&band, look::BETWEEN);
        }
        let read = self.read.min(low.len());
        canvas.path(&low[..read], look::PROGRESS);
        canvas.path(&low[read.saturating_sub(1)..], look::PROGRESS_AHEAD);
        placer.keep_off_line(&low);
    }
}

/// A line in pixels up to where it leaves the axis.
fn pixels(line: &[(Instant, f64)], time: &TimeAxis, share: &ValueAxis) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::with_capacity(line.len());
    for (at, value) in line {
        let (x, y) = (time.x(*at), share.y(*value));
        if *value <= share.high {
            points.push((x, y));
            continue;
        }
        if let Some((px, py)) = points.last().copied() {
            let part = (py - share.top) / (py - y);
            points.push((px + (x - px) * part, share.top));
        }
        break;
    }
    points
}
