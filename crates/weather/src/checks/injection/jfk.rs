//! The one bad row in the real file of JFK.

use model::series::{Flag, Reading};
use model::time::{DAY, HOUR, Instant};

use super::kit::{self, at};
use crate::checks::Check;

/// A leg by its curve, mark and start.
struct Leg {
    curve: &'static str,
    mark: f64,
    start: Instant,
}

/// Legs on both curves to both marks from each hour of 5 to 8 May.
fn legs() -> impl Iterator<Item = Leg> {
    let hours = (0..4 * DAY / HOUR).map(|hour| at("2013-05-05T00:00:00-04:00").plus(hour * HOUR));
    hours.flat_map(|start| {
        ["reference", "cardinal"]
            .into_iter()
            .flat_map(move |curve| [0.60, 1.00].map(|mark| Leg { curve, mark, start }))
    })
}

#[test]
fn the_spike_fails_and_nothing_else() {
    for others in [vec![], vec![kit::clean("EWR")]] {
        let others: Vec<&[Reading]> = others.iter().map(Vec::as_slice).collect();
        let checked = kit::checked(&kit::spring("JFK"), &others, kit::later());
        let failed: Vec<_> = checked.iter().filter(|checked| checked.reading.flag == Flag::Fail).collect();
        let [failed] = failed[..] else { panic!("{failed:?}") };
        println!("{} {:.1} °C: {:?}", failed.reading.at, failed.reading.celsius, failed.faults);
        assert_eq!(failed.reading.at, at(kit::BAD_ROW));
        assert_eq!(failed.faults[0].check, Check::Spike);
        let used = checked.iter().map(|checked| checked.reading).filter(|reading| reading.flag.usable());
        let values = |reading: &Reading| (reading.at, reading.celsius);
        assert!(used.map(|reading| values(&reading)).eq(kit::clean("JFK").iter().map(values)));
    }
}

#[test]
fn with_checks_each_crossing_is_that_of_the_file_without_the_bad_row() {
    let raw = kit::spring("JFK");
    let checked = kit::flagged(&kit::checked(&raw, &[], kit::later()));
    let clean = kit::clean("JFK");
    let bad_row = at(kit::BAD_ROW);
    for curve in ["reference", "cardinal"] {
        let shape = kit::curve(curve);
        let [raw, checked, clean] =
            [&raw, &checked, &clean].map(|readings| kit::growth(&shape, std::slice::from_ref(readings)));
        for mark in [0.60, 1.00] {
            let (mut over, mut beside) = (Vec::new(), 0);
            for leg in legs().filter(|leg| leg.curve == curve && leg.mark == mark) {
                let [raw, checked, clean] =
                    [&raw, &checked, &clean].map(|growth| kit::crossing(growth, leg.start, mark).unwrap());
                assert_eq!(checked, clean, "{curve} {mark} from {}", leg.start);
                // The line to the bad row begins an hour before it and ends an
                // hour after; a leg runs over it when it holds all of that.
                if leg.start <= bad_row.plus(-HOUR) && clean >= bad_row.plus(HOUR) {
                    over.push(raw.since(clean) as f64 / 60.0);
                } else if raw != clean {
                    beside += 1;
                }
            }
            let least = over.iter().copied().fold(f64::INFINITY, f64::min);
            let most = over.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            println!(
                "{curve} {mark:.2}: without checks {} legs over the bad row move by {least:.0} to {most:.0} minutes; \
                 {beside} others in part; with checks none moves",
                over.len()
            );
            // 34 to 146 minutes over all four.
            assert!(over.len() > 20 && least > 30.0 && most < 150.0, "{least} to {most}");
        }
    }
}
