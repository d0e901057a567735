//! Labels that keep clear of one another and of what is drawn.

use crate::look;
use crate::svg::{Anchor, Area, Canvas, Point, Type};

/// Width of a letter as a share of its size, on the wide side of the fonts
/// that stand behind `sans-serif`.
const LETTER: f64 = 0.58;
/// The same for bold letters.
const BOLD_LETTER: f64 = 0.65;
/// From here on letters are about as wide as high (Chinese, Japanese, Korean).
const FIRST_WIDE: char = '\u{2e80}';
/// Height of a line as a share of its size.
const LINE: f64 = 1.25;
/// Free pixels round a label.
const CLEAR: f64 = 2.0;
/// How much worse it is to lie outside the picture than over something.
const OUTSIDE: f64 = 50.0;
/// How much worse it is to lie across a spray than over another line.
const ACROSS: f64 = 10.0;
/// A label further than this beyond its gap gets a line to its point.
const LEADER: f64 = 6.0;
/// What each four pixels of such a line over another label cost.
const CROSSED: f64 = 60.0;

/// A few lines of text that belong together.
#[derive(Debug, Clone)]
pub(crate) struct Label {
    pub lines: Vec<(String, Type)>,
}

impl Label {
    pub(crate) fn one(text: impl Into<String>, look: Type) -> Label {
        Label { lines: vec![(text.into(), look)] }
    }

    fn width(&self) -> f64 {
        self.lines.iter().map(|(text, look)| width(text, *look)).fold(0.0, f64::max)
    }

    fn height(&self) -> f64 {
        self.lines.iter().map(|(_, look)| look.size * LINE).sum()
    }
}

/// Width of a line of text as it is reckoned with, px.
pub(crate) fn width(text: &str, look: Type) -> f64 {
    let letter = if look.bold { BOLD_LETTER } else { LETTER };
    text.chars().map(|c| if c < FIRST_WIDE { letter } else { 1.0 }).sum::<f64>() * look.size
}

/// The text, cut to so many letters.
pub(crate) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// The text, cut to so many px.
pub(crate) fn fitted(text: &str, look: Type, wide: f64) -> String {
    let mut most = text.chars().count();
    while most > 1 && width(&shortened(text, most), look) > wide {
        most -= 1;
    }
    shortened(text, most)
}

/// A place where a label may stand: a point of its left, middle or right, and
/// where its upper edge is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot {
    pub x: f64,
    pub top: f64,
    pub anchor: Anchor,
}

/// The places round a point, the best first: above, beside, below, then the
/// same further off.
pub(crate) fn around(label: &Label, (x, y): Point, gap: f64) -> Vec<Spot> {
    let high = label.height();
    let mut spots = Vec::with_capacity(96);
    for step in 0..7 {
        let off = gap + f64::from(step) * 12.0;
        for anchor in [Anchor::End, Anchor::Start, Anchor::Middle] {
            spots.push(Spot { x, top: y - off - high, anchor });
        }
        spots.push(Spot { x: x - off, top: y - high / 2.0, anchor: Anchor::End });
        spots.push(Spot { x: x + off, top: y - high / 2.0, anchor: Anchor::Start });
        for anchor in [Anchor::Start, Anchor::End, Anchor::Middle] {
            spots.push(Spot { x, top: y + off, anchor });
        }
        for (x, anchor) in [(x - off, Anchor::End), (x + off, Anchor::Start)] {
            spots.push(Spot { x, top: y - off - high, anchor });
            spots.push(Spot { x, top: y + off, anchor });
        }
    }
    spots
}

/// Places all over an area, the nearest to a point first: for a label that is too large
/// to stand beside what it names.
pub(crate) fn anywhere(label: &Label, (x, y): Point, within: Area) -> Vec<Spot> {
    const STEP: f64 = 14.0;
    let (wide, high) = (label.width() + 2.0 * CLEAR, label.height());
    let columns = ((within.right - within.left - wide) / STEP).max(0.0) as i32;
    let rows = ((within.bottom - within.top - high) / STEP).max(0.0) as i32;
    let mut spots: Vec<Spot> = (0..=columns)
        .flat_map(|column| (0..=rows).map(move |row| (f64::from(column) * STEP, f64::from(row) * STEP)))
        .map(|(right, down)| Spot {
            x: within.left + CLEAR + right,
            top: within.top + down,
            anchor: Anchor::Start,
        })
        .collect();
    let far = |spot: &Spot| (spot.x + wide / 2.0 - x).hypot(spot.top + high / 2.0 - y);
    spots.sort_by(|a, b| far(a).total_cmp(&far(b)));
    spots
}

/// Remembers what is taken and finds room beside it.
pub(crate) struct Placer {
    bounds: Area,
    /// With how much worse than a plain line each is to cover.
    drawn: Vec<(Area, f64)>,
    labels: Vec<Area>,
}

impl Placer {
    pub(crate) fn new(bounds: Area) -> Placer {
        Placer { bounds, drawn: Vec::new(), labels: Vec::new() }
    }

    /// Keeps labels off an area.
    pub(crate) fn keep_off(&mut self, area: Area) {
        self.drawn.push((area, 1.0));
    }

    /// Keeps labels off an area that parts what belongs apart: a label across
    /// it would be read on the wrong side.
    pub(crate) fn part(&mut self, area: Area) {
        self.drawn.push((area, ACROSS));
    }

    /// Keeps labels off a drawn line.
    pub(crate) fn keep_off_line(&mut self, points: &[Point]) {
        self.drawn.extend(beads(points).into_iter().map(|bead| (bead, 1.0)));
    }

    /// Draws a label at the first of the spots that is free, or at the one
    /// that covers least. Without a spot nothing is drawn.
    pub(crate) fn draw(&mut self, canvas: &mut Canvas, label: &Label, spots: &[Spot]) {
        if let Some((spot, area)) = self.least(label, spots, |_| 0.0) {
            self.put(canvas, label, spot, area);
        }
    }

    /// Draws a label that belongs to a point, with a thin line to the point
    /// where it had to stand further off.
    pub(crate) fn draw_at(&mut self, canvas: &mut Canvas, label: &Label, point: Point, gap: f64) {
        let crossed = |area: &Area| {
            let line = leader(area, point, gap).map(|line| beads(&line)).unwrap_or_default();
            let hit = |bead: &&Area| self.labels.iter().any(|label| label.shared(bead) > 0.0);
            line.iter().filter(hit).count() as f64 * CROSSED
        };
        let Some((spot, area)) = self.least(label, &around(label, point, gap), crossed) else {
            return;
        };
        if let Some(line) = leader(&area, point, gap) {
            canvas.line(line[0], line[1], look::LEADER);
            self.keep_off_line(&line);
        }
        self.put(canvas, label, spot, area);
    }

    fn least(&self, label: &Label, spots: &[Spot], more: impl Fn(&Area) -> f64) -> Option<(Spot, Area)> {
        let mut best: Option<(f64, Spot, Area)> = None;
        for spot in spots {
            let area = self.area(label, spot);
            let drawn: f64 = self.drawn.iter().map(|(taken, weight)| taken.shared(&area) * weight).sum();
            let over: f64 = drawn + self.labels.iter().map(|taken| taken.shared(&area)).sum::<f64>();
            let cost = over + (area.size() - area.shared(&self.bounds)) * OUTSIDE + more(&area);
            if best.as_ref().is_none_or(|(least, ..)| cost < *least) {
                best = Some((cost, *spot, area));
            }
            if cost == 0.0 {
                break;
            }
        }
        best.map(|(_, spot, area)| (spot, area))
    }

    fn put(&mut self, canvas: &mut Canvas, label: &Label, spot: Spot, area: Area) {
        self.labels.push(area);
        let mut y = spot.top;
        for (text, look) in &label.lines {
            y += look.size * LINE;
            canvas.text((spot.x, y - look.size * 0.3), spot.anchor, *look, text);
        }
    }

    fn area(&self, label: &Label, spot: &Spot) -> Area {
        let wide = label.width();
        let left = match spot.anchor {
            Anchor::Start => spot.x,
            Anchor::Middle => spot.x - wide / 2.0,
            Anchor::End => spot.x - wide,
        };
        Area {
            left: left - CLEAR,
            top: spot.top,
            right: left + wide + CLEAR,
            bottom: spot.top + label.height(),
        }
    }
}

/// Small areas along a line, so that what it crosses can be told.
fn beads(points: &[Point]) -> Vec<Area> {
    const STEP: f64 = 4.0;
    const HALF: f64 = 1.5;
    let mut beads = Vec::new();
    for pair in points.windows(2) {
        let ((ax, ay), (bx, by)) = (pair[0], pair[1]);
        let steps = ((bx - ax).hypot(by - ay) / STEP).ceil().clamp(1.0, 1_000.0);
        for n in 0..=(steps as i32) {
            let share = f64::from(n) / steps;
            let (x, y) = (ax + (bx - ax) * share, ay + (by - ay) * share);
            beads.push(Area { left: x - HALF, top: y - HALF, right: x + HALF, bottom: y + HALF });
        }
    }
    beads
}

/// The line from `gap` beside a point to a label that stands further off.
fn leader(area: &Area, point: Point, gap: f64) -> Option<[Point; 2]> {
    let near = (point.0.clamp(area.left, area.right), point.1.clamp(area.top, area.bottom));
    let (dx, dy) = (near.0 - point.0, near.1 - point.1);
    let apart = dx.hypot(dy);
    (apart > gap + LEADER).then(|| [(point.0 + dx * gap / apart, point.1 + dy * gap / apart), near])
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Type = Type::plain(10.0, "#000");

    fn placed(placer: &mut Placer, text: &str) -> Area {
        let label = Label::one(text, LOOK);
        let mut canvas = Canvas::new(100.0, 100.0, "", "");
        placer.draw(&mut canvas, &label, &around(&label, (50.0, 50.0), 4.0));
        *placer.labels.last().unwrap()
    }

    #[test]
    fn labels_at_one_point_do_not_cover_each_other() {
        let mut placer = Placer::new(Area { left: 0.0, top: 0.0, right: 100.0, bottom: 100.0 });
        let areas: Vec<Area> = ["one", "two", "three", "four"].map(|text| placed(&mut placer, text)).to_vec();
        for (n, area) in areas.iter().enumerate() {
            assert!(areas[..n].iter().all(|other| other.shared(area) == 0.0), "{areas:?}");
        }
    }

    #[test]
    fn a_label_stays_inside_when_it_can() {
        let bounds = Area { left: 48.0, top: 0.0, right: 100.0, bottom: 100.0 };
        let area = placed(&mut Placer::new(bounds), "seven");
        assert!((area.shared(&bounds) - area.size()).abs() < 1e-9, "{area:?}");
    }

    #[test]
    fn a_long_name_is_cut() {
        assert_eq!(shortened("Ammonium", 8), "Ammonium");
        assert_eq!(shortened("Ammonium thiosulfate", 10), "Ammonium…");
    }
}
