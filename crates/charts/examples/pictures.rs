//! Draws the small pictures, each by invented numbers, into a folder:
//! `cargo run -p charts --example pictures -- FOLDER`.

use std::path::Path;

use anyhow::{Context, Result};
use charts::curve;
use charts::dots::{self, Dots};
use charts::fan::{self, Axis, Row};
use charts::map::{self, Sign, Spot};
use charts::round::{self, RoundPicture};
use charts::weather::{self, Lane, Sources};
use model::sun::Sun;
use model::time::DAY;

#[allow(dead_code, reason = "each of its users takes a part")]
#[path = "../tests/pictures/checked.rs"]
mod checked;
#[path = "../tests/spring/mod.rs"]
mod spring;
use checked::{at, odds};

const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

fn main() -> Result<()> {
    let folder = std::env::args().nth(1).context("say which folder the pictures go to")?;
    let keep = |name: &str, svg: String| {
        let file = Path::new(&folder).join(name);
        std::fs::write(&file, svg).with_context(|| format!("{} cannot be written", file.display()))
    };
    let from = at("2013-05-01T00:00:00-04:00");
    let now = from.plus(15 * 3_600);
    let sun = Sun::at(40.7, -74.2);
    let axis = Axis::new(from, from.plus(7 * DAY), now, ZONE).with_nights(&sun);
    keep("fan-axis.svg", fan::axis(&axis))?;
    let cases =
        [(20.0, 1.5, 0), (60.0, 0.3, 0), (20.0, 6.3, 4), (100.0, 12.0, 15), (400.0, 1.0, 0), (-8.0, 1.0, 0)];
    for (n, (first, apart, never)) in cases.into_iter().enumerate() {
        let odds = odds(now, first, apart, never);
        let row = Row { odds: Some(&odds), ..Row::default() };
        keep(&format!("fan-{n}.svg"), fan::picture(&axis, "North Bench", &row))?;
        let name = "North Bench, leg 1 at 60 %";
        keep(
            &format!("dots-{n}.svg"),
            dots::picture(&Dots { name, odds: &odds, zone: ZONE, now, sun: Some(sun) }),
        )?;
    }
    let over = Row { odds: None, reached_at: Some(now.plus(-7 * 3_600)), sprayed_at: Some(now.plus(-3_600)) };
    keep("fan-6.svg", fan::picture(&axis, "North Bench", &over))?;
    let (station, feed, series) = checked::site(from);
    let to = from.plus(7 * DAY);
    let (first, second) = (weather::gaps(&station, from, to), weather::gaps(&feed, from, to));
    let lanes = [
        Lane { name: "Lower yard station", readings: &station, gaps: &first },
        Lane { name: "Feed, grid cell", readings: &feed, gaps: &second },
    ];
    let sources = Sources { site: "Home farm", zone: ZONE, from, to, lanes: &lanes, joined: &series };
    keep("weather.svg", weather::picture(&sources))?;
    for curve in spring::catalogue()?.curves {
        keep(&format!("curve-{}.svg", curve.id), curve::picture(&curve))?;
    }
    let (stops, round) = checked::round(now);
    let shown = RoundPicture { name: "Home farm", round: &round, stops: &stops, zone: ZONE };
    keep("round.svg", round::picture(&shown))?;
    let spot = |name, latitude, longitude, sign| Spot { name, latitude, longitude, sign };
    let spots = [
        spot("Lower yard", 40.69, -74.17, Sign::Pressing),
        spot("Home farm", 40.73, -74.21, Sign::Ahead),
        spot("Long Acre", 41.12, -73.9, Sign::Ahead),
        spot("Wexcombe Bottom, the far end", 40.4, -74.9, Sign::Resting),
    ];
    keep("map.svg", map::picture(&spots))
}
