//! How much of a stretch of time a source covers, by flag.

use model::series::{Flag, Reading};
use model::time::{DAY, HOUR, Instant};

/// Readings from so long before a stretch have a say in its flags, seconds: to
/// tell a drift takes twenty days and what was usual in the fourteen before them.
pub const BEFORE: i64 = 36 * DAY;
/// Readings from so long after a stretch have a say in its flags, seconds.
pub const AFTER: i64 = 21 * DAY;

/// The whole hours (UTC) of `from` to `to` by the flag of the readings in each,
/// flags in the order of QARTOD's numbers: the worst of an hour counts, and an hour
/// without any is missing. Readings are checked and in order of time; a mean belongs
/// to each hour that it reaches into.
pub fn hours_by_flag(readings: &[Reading], from: Instant, to: Instant) -> Vec<(Flag, u64)> {
    let (first, end) = ((from.0 + HOUR - 1).div_euclid(HOUR), to.0.div_euclid(HOUR));
    let mut worst = vec![Flag::Missing; usize::try_from(end - first).unwrap_or_default()];
    for reading in readings.iter().filter(|reading| reading.flag != Flag::Missing) {
        let begins = reading.from().0.div_euclid(HOUR);
        // A mean that ends on the hour has no part in the one that begins there.
        let ends = if reading.span > 0 { (reading.at.0 - 1).div_euclid(HOUR) } else { begins };
        for hour in begins.max(first)..=ends.min(end - 1) {
            let worst = &mut worst[(hour - first) as usize];
            if *worst == Flag::Missing || reading.flag as u8 > *worst as u8 {
                *worst = reading.flag;
            }
        }
    }
    let flags = [Flag::Pass, Flag::NotEvaluated, Flag::Suspect, Flag::Fail, Flag::Missing];
    let count = |flag| worst.iter().filter(|worst| **worst == flag).count() as u64;
    flags.into_iter().map(|flag| (flag, count(flag))).filter(|(_, hours)| *hours > 0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_of_an_hour_counts_and_none_is_missing() {
        let at = |minutes: i64| Instant(minutes * 60);
        let flagged = |minutes, flag| Reading { flag, ..Reading::instant(at(minutes), 9.0) };
        let mut readings = vec![
            flagged(0, Flag::Pass),
            flagged(30, Flag::Fail),
            flagged(60, Flag::Pass),
            flagged(70, Flag::Suspect),
        ];
        readings.push(Reading { flag: Flag::Pass, ..Reading::mean_ending(at(240), 7_200, 9.0) });
        readings.push(flagged(250, Flag::NotEvaluated));
        let hours = hours_by_flag(&readings, at(0), at(360));
        let wanted = [
            (Flag::Pass, 2),
            (Flag::NotEvaluated, 1),
            (Flag::Suspect, 1),
            (Flag::Fail, 1),
            (Flag::Missing, 1),
        ];
        assert_eq!(hours, wanted);
        assert_eq!(hours_by_flag(&readings, at(90), at(30)), []);
        assert_eq!(hours_by_flag(&[], at(1), at(181)), [(Flag::Missing, 2)]);
    }
}
