//! The nights of a time axis.

use model::sun::Sun;
use model::time::{DAY, Instant};

/// Over longer axes a night is narrower than can be seen.
const LONGEST: i64 = 40 * DAY;

/// Each stretch between `from` and `to` with the sun down, in order; none over more than
/// forty days.
pub(crate) fn nights(sun: &Sun, from: Instant, to: Instant) -> Vec<(Instant, Instant)> {
    if to <= from || to.since(from) > LONGEST {
        return Vec::new();
    }
    let mut nights = Vec::new();
    let mut set = Some(from).filter(|from| !sun.is_up(*from));
    for (at, up) in sun.changes(from, to) {
        match (up, set) {
            (true, Some(begin)) => {
                nights.push((begin, at));
                set = None;
            }
            (false, _) => set = Some(at),
            (true, None) => {}
        }
    }
    nights.extend(set.filter(|set| *set < to).map(|set| (set, to)));
    nights
}

#[cfg(test)]
mod tests {
    use super::*;
    use model::time::HOUR;

    #[test]
    fn nights_lie_within_and_fill_the_polar_winter() {
        let from = Instant::parse("2013-05-01T16:00:00Z").unwrap();
        let to = from.plus(3 * DAY);
        let found = nights(&Sun::at(40.7, -74.2), from, to);
        assert_eq!(found.len(), 3);
        assert!(found.iter().all(|(set, rise)| (8 * HOUR..12 * HOUR).contains(&rise.since(*set))));
        let winter = Instant::parse("2013-12-20T00:00:00Z").unwrap();
        let dark = nights(&Sun::at(75.0, 20.0), winter, winter.plus(2 * DAY));
        assert_eq!(dark, [(winter, winter.plus(2 * DAY))]);
        assert_eq!(nights(&Sun::at(40.7, -74.2), from, from), []);
    }
}
