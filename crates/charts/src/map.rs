//! A region on a plain outline map: its sites, each with the most pressing thing of its
//! blocks.

use std::fmt::Write;

use crate::labels::{Label, Placer, shortened};
use crate::look;
use crate::svg::{Anchor, Area, Canvas, Point, Type};

mod ground;

pub use ground::{Stretch, plain};

/// Width and height, px.
const WIDTH: f64 = 480.0;
const HEIGHT: f64 = 420.0;
/// The part that is map.
const MAP: Area = Area { left: 0.0, top: 0.0, right: WIDTH, bottom: 360.0 };
/// Least room between a site and the edge, as a share of the map.
const MARGIN: f64 = 0.14;
/// Least height of the map, degrees: some twenty kilometres.
const SMALLEST: f64 = 0.2;
/// From more sites on only their numbers are written.
const MOST_NAMED: usize = 30;
/// Half the width of a sign, px.
const SIGN: f64 = 7.0;
/// Kilometres in a degree of latitude, on the sphere of the same volume as the earth.
const KM_A_DEGREE: f64 = 111.195;
const KM_A_MILE: f64 = 1.609_344;

const NAME: Type = Type::bold(12.0, look::INK);
const SAID: Type = Type::plain(12.0, look::INK);

/// How pressing a site is. Told by shape, filling and words, never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    /// A mark is reached, or something keeps it from being known.
    Pressing,
    /// A clock runs, or a start is waited for.
    Ahead,
    /// Nothing is waited for.
    Resting,
}

impl Sign {
    const ALL: [Sign; 3] = [Sign::Pressing, Sign::Ahead, Sign::Resting];

    /// What it stands for.
    pub fn told(self) -> &'static str {
        match self {
            Sign::Pressing => "needs someone now",
            Sign::Ahead => "under way",
            Sign::Resting => "rests",
        }
    }
}

/// A site.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot<'a> {
    /// Its name.
    pub name: &'a str,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// The most pressing of its blocks.
    pub sign: Sign,
}

/// The sites as an SVG document of 480 by 420 px, ending in a newline, each with its
/// number in the order given, from 1 on; the list beside it has the same numbers.
/// Without a site it says so.
pub fn picture(spots: &[Spot<'_>]) -> String {
    let mut canvas = Canvas::new(WIDTH, HEIGHT, "Sites on the map", &description(spots));
    canvas.rect(
        Area { left: 0.0, top: 0.0, right: WIDTH, bottom: HEIGHT },
        &format!(r#"fill="{}""#, look::PAPER),
    );
    match stretch(spots) {
        Some(stretch) => draw(&mut canvas, spots, &stretch),
        None => {
            canvas.text((WIDTH / 2.0, HEIGHT / 2.0), Anchor::Middle, SAID, "No site lies on the map");
        }
    }
    canvas.finish()
}

fn draw(canvas: &mut Canvas, spots: &[Spot<'_>], stretch: &Stretch) {
    let (wide, high) = (MAP.right - MAP.left, MAP.bottom - MAP.top);
    canvas.nested(MAP, &ground::inner(stretch, wide, high));
    canvas.rect(MAP, &format!(r#"fill="none" stroke="{}""#, look::FRAME));
    let at = |spot: &Spot<'_>| -> Point {
        (
            MAP.left + (spot.longitude - stretch.west) / stretch.wide() * wide,
            MAP.top + (stretch.north - spot.latitude) / stretch.high() * high,
        )
    };
    let mut placer = Placer::new(MAP);
    // The most pressing last, so that nothing lies over it.
    let mut order: Vec<&Spot<'_>> = spots.iter().collect();
    order.sort_by_key(|spot| std::cmp::Reverse(spot.sign));
    for spot in order {
        let (x, y) = at(spot);
        sign(canvas, (x, y), spot.sign);
        placer.keep_off(Area { left: x - SIGN, top: y - SIGN, right: x + SIGN, bottom: y + SIGN });
    }
    for (n, spot) in spots.iter().enumerate() {
        let number = n + 1;
        let text = match spots.len() > MOST_NAMED {
            true => number.to_string(),
            false => format!("{number} {}", shortened(spot.name, 20)),
        };
        placer.draw_at(canvas, &Label::one(text, NAME), at(spot), SIGN + 2.0);
    }
    scale_bar(canvas, stretch);
    let mut x = 16.0;
    for one in Sign::ALL {
        sign(canvas, (x, HEIGHT - 14.0), one);
        canvas.text((x + 14.0, HEIGHT - 10.0), Anchor::Start, SAID, one.told());
        x += 36.0 + crate::labels::width(one.told(), SAID);
    }
}

fn sign(canvas: &mut Canvas, (x, y): Point, sign: Sign) {
    let square = Area { left: x - SIGN, top: y - SIGN, right: x + SIGN, bottom: y + SIGN };
    match sign {
        Sign::Pressing => canvas.rect(square, look::SITE_PRESSING),
        Sign::Ahead => canvas.circle((x, y), SIGN - 0.5, look::SITE_AHEAD),
        Sign::Resting => canvas.circle((x, y), SIGN - 2.0, look::SITE_RESTING),
    }
}

/// What the map shows: all sites with room around them, a degree of longitude as much
/// shorter as it is on the middle of the sites. None without a site.
fn stretch(spots: &[Spot<'_>]) -> Option<Stretch> {
    let edges = |of: fn(&Spot<'_>) -> f64| {
        spots.iter().map(of).fold(None, |edges: Option<(f64, f64)>, at| {
            Some(edges.map_or((at, at), |(low, high)| (low.min(at), high.max(at))))
        })
    };
    let ((south, north), (west, east)) = edges(|spot| spot.latitude).zip(edges(|spot| spot.longitude))?;
    let (latitude, longitude) = ((south + north) / 2.0, (west + east) / 2.0);
    // Near the poles no apple grows, and a longitude is no length there.
    let shorter = latitude.to_radians().cos().max(0.2);
    let sides = (MAP.right - MAP.left) / (MAP.bottom - MAP.top);
    let room = 1.0 - 2.0 * MARGIN;
    let high = ((north - south) / room).max((east - west) * shorter / sides / room).max(SMALLEST);
    Some(Stretch::around(latitude, longitude, high * sides / shorter, high))
}

/// How long a round number of kilometres is on the map, and the same in miles.
fn scale_bar(canvas: &mut Canvas, stretch: &Stretch) {
    let km_a_pixel = stretch.high() * KM_A_DEGREE / (MAP.bottom - MAP.top);
    let most = 130.0 * km_a_pixel;
    let ten = 10_f64.powf(most.log10().floor());
    let km = [5.0, 2.0, 1.0].map(|n| n * ten).into_iter().find(|km| *km <= most).unwrap_or(ten);
    let (left, y) = (16.0, MAP.bottom + 16.0);
    let right = left + km / km_a_pixel;
    canvas.line((left, y), (right, y), look::MARK);
    for x in [left, right] {
        canvas.line((x, y - 4.0), (x, y + 4.0), look::MARK);
    }
    let digits = usize::from(km < 10.0);
    let text = format!("{km} km ({:.digits$} miles)", km / KM_A_MILE);
    canvas.text((right + 10.0, y + 4.0), Anchor::Start, SAID, &text);
}

fn description(spots: &[Spot<'_>]) -> String {
    let mut said = match spots.len() {
        0 => return "No site lies on the map.".to_owned(),
        1 => "1 site.".to_owned(),
        n => format!("{n} sites."),
    };
    for sign in Sign::ALL {
        let of: Vec<String> = spots
            .iter()
            .enumerate()
            .filter(|(_, spot)| spot.sign == sign)
            .map(|(n, spot)| format!("{} {}", n + 1, spot.name))
            .collect();
        if !of.is_empty() {
            let _ = write!(said, " {}: {}.", sign.told(), of.join(", "));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(name: &str, latitude: f64, longitude: f64, sign: Sign) -> Spot<'_> {
        Spot { name, latitude, longitude, sign }
    }

    #[test]
    fn all_sites_lie_well_within_and_degrees_have_their_length() {
        let spots = [
            spot("a", 51.0, 0.2, Sign::Ahead),
            spot("b", 52.0, 1.9, Sign::Resting),
            spot("c", 51.2, -0.4, Sign::Pressing),
        ];
        let stretch = stretch(&spots).unwrap();
        for spot in &spots {
            let across = (spot.longitude - stretch.west) / stretch.wide();
            let up = (spot.latitude - stretch.south) / stretch.high();
            assert!((0.13..0.87).contains(&across) && (0.13..0.87).contains(&up), "{spot:?}: {across} {up}");
        }
        // At 51.5 degrees a degree of longitude is 0.6225 of one of latitude.
        let a_degree_right = 480.0 / stretch.wide();
        let a_degree_up = 360.0 / stretch.high();
        assert!((a_degree_right / a_degree_up - 0.6225).abs() < 0.001, "{a_degree_right} {a_degree_up}");
    }

    #[test]
    fn one_site_is_seen_with_its_valley() {
        let one = [spot("Ridge", 40.7, -74.2, Sign::Pressing)];
        assert!((stretch(&one).unwrap().high() - SMALLEST).abs() < 1e-9);
        let drawn = picture(&one);
        assert!(drawn.contains(">1 Ridge<") && drawn.contains("5 km (3.1 miles)"), "{drawn}");
        assert!(drawn.contains("<desc>1 site. needs someone now: 1 Ridge.</desc>"), "{drawn}");
    }

    #[test]
    fn the_signs_differ_in_shape() {
        let shapes = Sign::ALL.map(|one| {
            let mut canvas = Canvas::new(20.0, 20.0, "", "");
            sign(&mut canvas, (10.0, 10.0), one);
            let drawn = canvas.finish();
            (drawn.contains("<rect"), drawn.contains("r=\"5.0\""))
        });
        assert_eq!(shapes, [(true, false), (false, false), (false, true)]);
    }

    #[test]
    fn names_give_way_where_sites_are_many() {
        let many: Vec<Spot<'_>> =
            (0..40).map(|n| spot("Site <x>", 40.0 + f64::from(n) / 20.0, -74.0, Sign::Ahead)).collect();
        let drawn = picture(&many);
        assert!(drawn.contains(">40</text>") && !drawn.contains(">40 Site"), "{drawn}");
        assert!(!drawn.contains("Site <x>"));
        assert!(picture(&[]).contains("No site lies on the map"));
    }
}
