//! The fan of the running leg: from its progress at the last reading to where, by the
//! odds, it comes to its mark.

use model::odds::Odds;
use model::time::Instant;

use crate::chances;
use crate::labels::{Label, Placer, anywhere};
use crate::look;
use crate::scale::{TimeAxis, ValueAxis};
use crate::season::{SeasonPicture, ahead};
use crate::svg::{Area, Canvas, Point, Type};

/// Shapes, each within the one before, that make the outer edges fade.
const STEPS: u32 = 3;
/// Upright slices of the fan that labels keep off.
const SLICES: u32 = 12;
const NAME: Type = Type::bold(12.0, look::TUBE);
const SAID: Type = Type::plain(12.0, look::TUBE);

/// A fan on the panel.
pub(super) struct Fan<'a> {
    odds: &'a Odds,
    /// Where the leg stands at the last reading, px.
    origin: Point,
    /// Height of the mark, px.
    mark: f64,
    time: TimeAxis,
}

impl<'a> Fan<'a> {
    /// The fan of the leg that runs; none without odds, once its mark is reached, and
    /// where the picture does not reach beyond the last reading.
    pub(super) fn of(picture: &SeasonPicture<'a>, time: &TimeAxis, share: &ValueAxis) -> Option<Fan<'a>> {
        let (leg, leg_odds) = ahead::running(picture.season, picture.odds?)?;
        let from = picture.season.as_of?.max(leg.from);
        let mark = leg_odds.mark;
        if !(time.from <= from && from < time.to) || mark > share.high || leg.progress_low >= mark {
            return None;
        }
        let origin = (time.x(from), share.y(leg.progress_low.max(0.0)));
        Some(Fan { odds: &leg_odds.odds, origin, mark: share.y(mark), time: *time })
    }

    /// Place of a moment, never before the last reading; none where it does not come.
    fn x(&self, at: Option<Instant>) -> Option<f64> {
        at.map(|at| self.time.x(at).max(self.origin.0))
    }

    /// Draws the fan and what it says of the mark's line.
    pub(super) fn draw(&self, canvas: &mut Canvas, placer: &mut Placer) {
        let Some(early) = self.x(self.odds.early) else {
            self.arrow(canvas);
            return;
        };
        let late = self.x(self.odds.late);
        let quarter = self.odds.dots.len() / 4;
        let left = self.x(chances::between_dots(self.odds, quarter)).map(|left| left.max(early));
        let right = self.x(chances::between_dots(self.odds, self.odds.dots.len() - quarter));
        for step in 0..STEPS {
            let share = f64::from(step) / f64::from(STEPS);
            let inner = left.map_or(early, |left| early + (left - early) * share);
            let outer = late.map(|late| right.map_or(late, |right| late + (right.min(late) - late) * share));
            canvas.shape(&self.wedge(inner, outer), look::FAN_STEP);
        }
        if let Some(left) = left {
            canvas.shape(&self.wedge(left, right), look::FAN_HALF);
        }
        for (x, half) in [(Some(early), 5.0), (self.x(self.odds.likely), 10.0), (late, 5.0)] {
            if let Some(x) = x.filter(|x| *x <= self.time.right) {
                canvas.line((x, self.mark - half), (x, self.mark + half), look::MARK);
            }
        }
        if late.is_none_or(|late| late > self.time.right) {
            self.arrow(canvas);
        }
        self.keep_off(placer, early, late);
    }

    /// The mark lies, or may lie, beyond the picture.
    fn arrow(&self, canvas: &mut Canvas) {
        let (x, y) = (self.time.right, self.mark);
        canvas.shape(
            &[(x - 9.0, y - 7.0), (x - 1.0, y), (x - 9.0, y + 7.0)],
            &format!(r#"fill="{}""#, look::INK),
        );
    }

    /// Height of the straight line to the mark at `end` where it passes `x`; of one that
    /// never comes there, the height that it has now.
    fn height(&self, end: Option<f64>, x: f64) -> f64 {
        let (from, y) = self.origin;
        match end {
            Some(end) if end > from => y + (self.mark - y) * ((x - from) / (end - from)).min(1.0),
            Some(_) => self.mark,
            None => y,
        }
    }

    /// Between the lines to two places on the mark, cut at the picture's edge.
    fn wedge(&self, first: f64, last: Option<f64>) -> Vec<Point> {
        let edge = self.time.right;
        let mut points = vec![self.origin];
        if first < edge {
            points.push((first, self.mark));
        }
        match last.filter(|last| *last <= edge) {
            Some(last) => points.push((last, self.mark)),
            None => {
                points.push((edge, self.height(Some(first), edge)));
                points.push((edge, self.height(last, edge)));
            }
        }
        points
    }

    fn keep_off(&self, placer: &mut Placer, early: f64, late: Option<f64>) {
        let end = late.unwrap_or(self.time.right).min(self.time.right);
        let wide = (end - self.origin.0) / f64::from(SLICES);
        for slice in 0..SLICES {
            let left = self.origin.0 + wide * f64::from(slice);
            let middle = left + wide / 2.0;
            let (top, bottom) = (self.height(Some(early), middle), self.height(late, middle));
            placer.keep_off(Area { left, top, right: left + wide, bottom });
        }
    }

    /// Says in frequencies what the fan is.
    pub(super) fn name(&self, canvas: &mut Canvas, placer: &mut Placer, picture: &SeasonPicture<'_>) {
        let [early, _, late] = chances::points(self.odds, picture.plan.zone).map(|(_, when)| when);
        let said = if self.odds.early.is_none() {
            vec!["fan: in more than 9 of 10 cases like this".to_owned(), late]
        } else {
            let (share, from, to) = match self.odds.late {
                Some(_) => (8, "from", "to "),
                None => (9, "after", "late (1 in 10): "),
            };
            vec![
                format!("fan: in {share} of 10 cases like this"),
                format!("{from} {early}"),
                format!("{to}{late}"),
                "darker part: 5 of 10".to_owned(),
            ]
        };
        let looks = std::iter::once(NAME).chain(std::iter::repeat(SAID));
        let lines = said.into_iter().zip(looks).collect();
        let label = Label { lines };
        let far = self.x(self.odds.likely).unwrap_or(self.time.right).min(self.time.right);
        let (from, y) = self.origin;
        let point = ((from + far) / 2.0, (y + self.mark) / 2.0);
        let within = Area { top: super::AREA.top + 4.0, bottom: super::AREA.bottom - 4.0, ..super::AREA };
        placer.draw(canvas, &label, &anywhere(&label, point, within));
    }
}
