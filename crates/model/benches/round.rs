//! How long a round of many blocks takes to plan.
//!
//! `cargo bench -p model --bench round` prints it for farms on which marks lie close
//! together and far apart, beside the most that a page can wait for.

use std::io::Write;
use std::time::Instant as Stopwatch;

use model::plan::MarkBound;
use model::round::{Ask, MarkTime, Spot, Sprayer, Stop, Ways, Window, plan};
use model::time::{HOUR, Instant, MINUTE};

/// What a page can wait for, s.
const MOST_S: f64 = 1.0;
/// Times each figure is taken; the least is told.
const TAKES: usize = 3;

fn now() -> Instant {
    Instant(1_367_452_800)
}

/// Numbers of a fixed row.
struct Draw(u64);

impl Draw {
    fn share(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn minutes(&mut self, most: f64) -> i64 {
        (self.share() * most) as i64 * MINUTE
    }
}

/// Blocks whose marks fall within so many hours, on 3 km by 3 km; each has its slot of
/// so many hours.
fn farm(blocks: usize, sprayers: usize, spread_hours: f64, slot_hours: i64) -> Ask {
    let mut draw = Draw(20_130_501);
    let spot = |draw: &mut Draw| Spot {
        latitude: 40.0 + 0.027 * draw.share(),
        longitude: -74.0 + 0.035 * draw.share(),
    };
    let stops = (0..blocks).map(|n| {
        let begin = now().plus(draw.minutes(spread_hours * 60.0));
        Stop {
            block: format!("Block {n}"),
            hectares: 0.3 + 1.7 * draw.share(),
            spot: Some(spot(&mut draw)),
            litres_per_hectare: Some(900.0),
            windows: vec![Window { begin, end: begin.plus(slot_hours * HOUR) }],
            mark: Some(MarkTime { early: None, likely: begin.plus(draw.minutes(120.0)), late: None }),
            bound: if draw.share() < 0.5 { MarkBound::NotBefore } else { MarkBound::NotAfter },
            style_per_hour: 0.01 + 0.03 * draw.share(),
            flowers: None,
            hold_since: None,
            reentry_unrecorded: false,
        }
    });
    let stops = stops.collect();
    let sprayers = (0..sprayers).map(|n| Sprayer {
        name: format!("Sprayer {n}"),
        hectares_per_hour: 1.0 + 1.5 * draw.share(),
        tank_litres: Some(1_500.0),
        fill_minutes: 15.0,
        fill_at: Some(spot(&mut draw)),
        starts_at: None,
        free_from: None,
    });
    let sprayers = sprayers.collect();
    let zone = chrono_tz::America::New_York;
    Ask { stops, sprayers, ways: Ways::default(), working: None, zone, now: now() }
}

fn main() -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    let farms = [(8, 3, 6.0, 12), (60, 4, 10.0, 3), (60, 4, 30.0, 6), (60, 4, 60.0, 24)];
    for (blocks, sprayers, spread, slot) in farms {
        let asked = farm(blocks, sprayers, spread, slot);
        let mut least = f64::INFINITY;
        let mut left = 0;
        for _ in 0..TAKES {
            let begun = Stopwatch::now();
            left = plan(&asked).left_out.len();
            least = least.min(begun.elapsed().as_secs_f64());
        }
        writeln!(
            out,
            "{blocks} blocks, {sprayers} sprayers, marks over {spread} h, slots of {slot} h: {:.0} ms (at most {:.0}), \
             {left} left out",
            least * 1e3,
            MOST_S * 1e3
        )?;
    }
    Ok(())
}
