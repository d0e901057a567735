//! The land under a map: outlines and lines of degrees, without names.

use std::fmt::Write;

/// Outlines of land; ten times the longitude, minus ten times the latitude.
const LAND: &str = include_str!("land.svg");
/// Units of the outlines in a degree.
const A_DEGREE: f64 = 10.0;
/// Degrees between lines that people like to read.
const BETWEEN: [f64; 10] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0];
/// Room for the degrees at a line, px, and for each digit behind their point.
const A_NUMBER: f64 = 26.0;
const A_DIGIT: f64 = 8.0;

/// A stretch of the earth, in degrees: longitude to the right, latitude upwards. Not
/// across the line of the date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its left edge.
    pub west: f64,
    /// Its right edge.
    pub east: f64,
    /// Its lower edge.
    pub south: f64,
    /// Its upper edge.
    pub north: f64,
}

impl Stretch {
    /// Around a place, so many degrees wide and high.
    pub fn around(latitude: f64, longitude: f64, wide: f64, high: f64) -> Stretch {
        let (half_wide, half_high) = (wide / 2.0, high / 2.0);
        Stretch {
            west: longitude - half_wide,
            east: longitude + half_wide,
            south: latitude - half_high,
            north: latitude + half_high,
        }
    }

    pub(super) fn wide(&self) -> f64 {
        self.east - self.west
    }

    pub(super) fn high(&self) -> f64 {
        self.north - self.south
    }

    /// How far the lines of the net lie apart on a picture so many px wide, in degrees,
    /// and the digits behind the point that tell it.
    fn between(&self, width: f64) -> (f64, usize) {
        let digits = |between: f64| if between < 0.1 { 2 } else { usize::from(between < 1.0) };
        let fits = |between: &f64| {
            let number = A_NUMBER + A_DIGIT * digits(*between) as f64;
            self.wide() / between * number <= width
        };
        let between = BETWEEN.into_iter().find(fits).unwrap_or(BETWEEN[BETWEEN.len() - 1]);
        (between, digits(between))
    }
}

/// The stretch alone as an SVG document of so many px, with the degrees at its lines. A
/// degree is as long to the right as upwards where the sizes say so.
pub fn plain(stretch: &Stretch, width: u32, height: u32) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" {}</svg>",
        inner(stretch, f64::from(width), f64::from(height))
    )
}

/// What stands in an `svg` element of so many px from its view box on.
pub(super) fn inner(stretch: &Stretch, width: f64, height: f64) -> String {
    let (left, top) = (stretch.west * A_DEGREE, -stretch.north * A_DEGREE);
    let (across, down) = (stretch.wide() * A_DEGREE, stretch.high() * A_DEGREE);
    // The box of the land is stretched to the picture; letters are not.
    let (to_x, to_y) = (width / across, height / down);
    let (between, digits) = stretch.between(width);
    let mut net = String::new();
    let mut names = String::new();
    for degrees in lines(stretch.west, stretch.east, between) {
        let x = (degrees * A_DEGREE - left) * to_x;
        let _ = write!(net, "M{x:.1} 0v{height:.1}");
        let _ =
            write!(names, "<text x=\"{:.1}\" y=\"{:.1}\">{degrees:.digits$}</text>", x + 2.0, height - 3.0);
    }
    for degrees in lines(stretch.south, stretch.north, between) {
        let y = (-degrees * A_DEGREE - top) * to_y;
        let _ = write!(net, "M0 {y:.1}h{width:.1}");
        let _ = write!(names, "<text x=\"2.0\" y=\"{:.1}\">{degrees:.digits$}</text>", y - 2.0);
    }
    format!(
        "viewBox=\"0 0 {width:.1} {height:.1}\"><rect width=\"100%\" height=\"100%\" fill=\"#eef2f5\"/>\
         <svg width=\"{width:.1}\" height=\"{height:.1}\" viewBox=\"{left:.2} {top:.2} {across:.2} {down:.2}\" \
         preserveAspectRatio=\"none\"><path fill=\"#cfe0d2\" stroke=\"#14532d\" \
         vector-effect=\"non-scaling-stroke\" d=\"{}\"/></svg>\
         <path d=\"{net}\" stroke=\"#555\" stroke-width=\".5\" fill=\"none\"/>\
         <g font-family=\"sans-serif\" font-size=\"10\" fill=\"#1c1c1c\">{names}</g>",
        land(stretch)
    )
}

/// Multiples of a step within two edges; a zero has no sign.
fn lines(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let (first, last) = ((from / step).ceil() as i64, (to / step).floor() as i64);
    (first..=last).map(move |n| n as f64 * step + 0.0)
}

/// The outlines that come near the stretch; a picture of one valley need not carry all
/// islands of the world.
fn land(stretch: &Stretch) -> String {
    let outlines = LAND.split_once(" d=\"").and_then(|(_, rest)| rest.split_once('"')).map_or("", |(d, _)| d);
    let (west, east) = (stretch.west * A_DEGREE, stretch.east * A_DEGREE);
    let (top, bottom) = (-stretch.north * A_DEGREE, -stretch.south * A_DEGREE);
    let near = |outline: &&str| {
        extent(outline).is_none_or(|[left, right, up, down]| {
            left <= east && west <= right && up <= bottom && top <= down
        })
    };
    outlines.lines().filter(near).collect::<Vec<_>>().join("")
}

/// Left, right, upper and lower edge of an outline: a point, then steps; none of one that
/// reads otherwise, which is then drawn wherever it lies.
fn extent(outline: &str) -> Option<[f64; 4]> {
    let spaced = outline.trim().strip_prefix('M')?.strip_suffix('z')?.replace('-', " -").replace('l', " ");
    let numbers: Vec<f64> = spaced
        .split_whitespace()
        .map(str::parse)
        .collect::<Result<_, _>>()
        .ok()
        .filter(|all: &Vec<f64>| !all.is_empty() && all.len().is_multiple_of(2))?;
    let mut at = (0.0, 0.0);
    let mut edges = [f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY];
    for step in numbers.chunks_exact(2) {
        at = (at.0 + step[0], at.1 + step[1]);
        edges = [edges[0].min(at.0), edges[1].max(at.0), edges[2].min(at.1), edges[3].max(at.1)];
    }
    Some(edges)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_outline_reads_and_lies_on_the_earth() {
        let d = LAND.split_once(" d=\"").unwrap().1.split_once('"').unwrap().0;
        assert!(d.lines().count() > 100, "{}", d.lines().count());
        for outline in d.lines() {
            let [left, right, up, down] = extent(outline).unwrap_or_else(|| panic!("{outline}"));
            assert!(left >= -1_801.0 && right <= 1_801.0, "{outline}: {left} {right}");
            assert!(up >= -901.0 && down <= 901.0, "{outline}: {up} {down}");
        }
    }

    #[test]
    fn a_valley_carries_its_own_land_alone() {
        // Around Newark lies North America, and no island of the south.
        let near = land(&Stretch::around(40.7, -74.2, 2.0, 1.0));
        let all = land(&Stretch { west: -180.0, east: 180.0, south: -90.0, north: 90.0 });
        assert!(!near.is_empty() && near.len() < all.len() / 2, "{} of {}", near.len(), all.len());
    }

    #[test]
    fn lines_have_round_degrees() {
        let drawn = plain(&Stretch::around(40.7, -74.2, 0.6, 0.3), 320, 160);
        for name in [">-74.3<", ">-74.2<", ">40.6<", ">40.8<"] {
            assert!(drawn.contains(name), "{name}: {drawn}");
        }
        let drawn = plain(&Stretch { west: -20.0, east: 20.0, south: -10.0, north: 10.0 }, 320, 160);
        assert!(drawn.contains(">0<") && !drawn.contains(">-0<"), "{drawn}");
    }
}
