//! What the checks go by, with where each figure comes from.
//!
//! Sources, by the names used below:
//!
//! - **QARTOD**: Manual for Real-Time Quality Control of In-situ Temperature and
//!   Salinity Data, version 2.0, US IOOS 2016, doi 10.7289/V5V40SD4. It gives the
//!   tests and the five flags and leaves thresholds to local judgement; its
//!   counts of equal readings (3 suspect, 5 fail, for water) are from memory.
//! - **WMO 2004**: Guidelines on Quality Control Procedures for Data from
//!   Automatic Weather Stations (Zahumenský; CBS/OPAG-IOS, and the guidance in
//!   WMO-No. 8); its figures read second-hand.
//! - **WMO 1993**: Guide on the Global Data-processing System, WMO-No. 305,
//!   chapter 6, VI.21; its table read second-hand.
//! - **measured**: chosen on the hourly readings of EWR and JFK, April and May
//!   2013, so that real weather is left alone; `CHECKS.md` has the figures.
//! - **practice**: common practice, no source.

use chrono::{NaiveDate, NaiveTime};
use model::input::Fields;
use model::series::JOINED;
use model::time::{FUTURE_TOLERANCE, HOUR, Instant, MINUTE};
use model::units::{COLDEST_C, WARMEST_C};

use super::VERSION;

/// Hours for which [`Thresholds::step_c`] has a limit.
const STEP_HOURS: [f64; 5] = [1.0, 2.0, 3.0, 6.0, 12.0];
/// Limit for a step within a minute, °C. WMO 2004: 3 °C between instantaneous
/// values is suspect.
const STEP_AT_ONCE_C: f64 = 3.0;

/// What the checks go by. Temperatures and differences in °C.
#[derive(Debug, Clone, PartialEq)]
pub struct Thresholds {
    /// Below this a reading fails; −60, the import's limit. WMO 2004 has −80,
    /// where no apple grows.
    pub range_fail_below_c: f64,
    /// Above this a reading fails; 60. WMO 2004.
    pub range_fail_above_c: f64,
    /// Below this a reading is suspect; −45. QARTOD's second, local span; the
    /// figure is practice: set the coldest that the district has known.
    pub range_suspect_below_c: f64,
    /// Above this a reading is suspect; 45. As above.
    pub range_suspect_above_c: f64,

    /// Minutes that a stamp may lie ahead of the clock; 10, as everywhere else
    /// in the program. Practice.
    pub ahead_minutes: i64,
    /// Stamps before this year are long past; 1990: a logger that never had its clock
    /// set begins at 1970 or 1980, and imported history stays. Not counted from the
    /// clock, so that a season stays what it was. Practice.
    pub oldest_year: i64,
    /// Days without readings after which at most thirty days of fewer ones before
    /// them are taken for a clock that began anew; 400. Practice.
    pub apart_days: i64,
    /// Hours of readings that come again value for value, suspect; 12. Measured:
    /// the longest by chance at three stations in a year was 13, in whole °F.
    pub repeat_suspect_hours: f64,
    /// The same, failed; 18. Measured.
    pub repeat_fail_hours: f64,
    /// What repeated readings must range over; 2 °C. Measured.
    pub repeat_range_c: f64,
    /// How many days back the first of them may lie; 15. Practice.
    pub repeat_days: i64,

    /// Readings of one time may differ by this; 0.5 °C: rounding to whole °F
    /// moves each by up to 0.28 °C. Practice.
    pub disagree_c: f64,
    /// One that lies this much further off the line between the readings before
    /// and after than the best one fails; 3 °C. WMO 2004's 3 °C.
    pub disagree_fail_c: f64,

    /// A reading this far beyond both its neighbours in time is suspect; 4 °C.
    /// The test is QARTOD's spike test, with the nearer neighbour in place of
    /// the mean of both so that fronts do not count; the figure is WMO 1993's for
    /// an hour. Measured: no real one above 3.3 in a year.
    pub spike_suspect_c: f64,
    /// The same, failed, where both stand within 90 minutes; 8 °C. Measured.
    pub spike_fail_c: f64,

    /// A step is out of the ordinary above these, for 1, 2, 3, 6 and 12 hours
    /// between two readings: 4, 7, 9, 15, 25 °C. WMO 1993; between them straight
    /// lines, and down to 3 °C at once (WMO 2004).
    pub step_c: [f64; 5],
    /// Where no other source can tell, a step is suspect above so many times
    /// that; 1.5. Measured: clear mornings and fronts exceed the table itself.
    pub step_alone: f64,
    /// Longest that some hours on another level last, from the reading before to
    /// the one after; 9 h: a night of cold air in a hollow lasts longer. Practice.
    pub excursion_hours: f64,
    /// Steps out and back of more than this fail; 10 °C. Measured.
    pub step_fail_c: f64,
    /// The same where another source shows neither; 7 °C. Measured.
    pub step_fail_beside_c: f64,

    /// Readings within this of each other are equal; 0.05 °C. WMO 2004 wants
    /// 0.1 °C of movement in an hour.
    pub flat_tolerance_c: f64,
    /// One value for so long is suspect; 12 h. Measured: 13 h was the longest
    /// real one in a year, 9 h in April and May; the hour of WMO 2004 is for
    /// sensors read each minute in hundredths.
    pub flat_suspect_hours: f64,
    /// The same, failed, unless near 0 °C, where melting snow holds it; 24 h.
    /// Practice.
    pub flat_fail_hours: f64,
    /// What another source must have moved to contradict a flat line; 4 °C.
    /// Measured.
    pub flat_moved_c: f64,
    /// A contradicted flat line is suspect; 6 h. Measured.
    pub flat_beside_suspect_hours: f64,
    /// A contradicted flat line fails; 11 h. Measured.
    pub flat_beside_fail_hours: f64,

    /// A value must leave the expected one by this to be taken for another unit;
    /// 10 °C (1.5 times what the time since the last reading allows, where that
    /// is more). Measured.
    pub unit_jump_c: f64,
    /// The same for tenths taken for degrees; 15 °C, since a jump from 1 to
    /// 12 °C can be a foehn. Practice.
    pub unit_tenths_jump_c: f64,
    /// A source whose first day has a median above this is taken to be in
    /// another unit from the start; 38 °C. Practice: no place with apples has
    /// such a day.
    pub unit_hottest_day_c: f64,

    /// Level: the same four hours of day this much warmer or colder than the
    /// other source, against the days before, on each of three days; 3 °C.
    /// Measured.
    pub level_c: f64,
    /// The same in spreads (1.48 median deviations) of the days before, whichever
    /// is more; 1.5. Measured.
    pub level_spreads: f64,
    /// Lag: hours by which a source runs later or earlier than it used to, over
    /// seven days; 1.2 h. Measured.
    pub lag_hours: f64,
    /// The same where nothing is known of before; 2.2 h. Measured: a coast
    /// station runs an hour ahead of one inland.
    pub lag_unseen_hours: f64,
    /// Drift: change of the difference to another source over twenty days;
    /// 0.15 °C a day. Measured.
    pub drift_c_per_day: f64,
}

impl Default for Thresholds {
    fn default() -> Thresholds {
        Thresholds {
            range_fail_below_c: COLDEST_C,
            range_fail_above_c: WARMEST_C,
            range_suspect_below_c: -45.0,
            range_suspect_above_c: 45.0,
            ahead_minutes: FUTURE_TOLERANCE / MINUTE,
            oldest_year: 1_990,
            apart_days: 400,
            repeat_suspect_hours: 12.0,
            repeat_fail_hours: 18.0,
            repeat_range_c: 2.0,
            repeat_days: 15,
            disagree_c: 0.5,
            disagree_fail_c: 3.0,
            spike_suspect_c: 4.0,
            spike_fail_c: 8.0,
            step_c: [4.0, 7.0, 9.0, 15.0, 25.0],
            step_alone: 1.5,
            excursion_hours: 9.0,
            step_fail_c: 10.0,
            step_fail_beside_c: 7.0,
            flat_tolerance_c: 0.05,
            flat_suspect_hours: 12.0,
            flat_fail_hours: 24.0,
            flat_moved_c: 4.0,
            flat_beside_suspect_hours: 6.0,
            flat_beside_fail_hours: 11.0,
            unit_jump_c: 10.0,
            unit_tenths_jump_c: 15.0,
            unit_hottest_day_c: 38.0,
            level_c: 3.0,
            level_spreads: 1.5,
            lag_hours: 1.2,
            lag_unseen_hours: 2.2,
            drift_c_per_day: 0.15,
        }
    }
}

impl Thresholds {
    /// Reads a table in which each field of this struct may stand under its own
    /// name; what is not there keeps its default. What is wrong is noted in
    /// `fields`: a figure outside what can be meant, or a suspect limit beyond
    /// its fail limit.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Thresholds> {
        let mut read = Thresholds::default();
        let celsius: [(&'static str, &mut f64, f64, f64); 18] = [
            ("range_fail_below_c", &mut read.range_fail_below_c, -90.0, 0.0),
            ("range_fail_above_c", &mut read.range_fail_above_c, 20.0, 90.0),
            ("range_suspect_below_c", &mut read.range_suspect_below_c, -90.0, 0.0),
            ("range_suspect_above_c", &mut read.range_suspect_above_c, 20.0, 90.0),
            ("repeat_range_c", &mut read.repeat_range_c, 0.1, 50.0),
            ("disagree_c", &mut read.disagree_c, 0.0, 50.0),
            ("disagree_fail_c", &mut read.disagree_fail_c, 0.1, 50.0),
            ("spike_suspect_c", &mut read.spike_suspect_c, 0.5, 100.0),
            ("spike_fail_c", &mut read.spike_fail_c, 0.5, 100.0),
            ("step_fail_c", &mut read.step_fail_c, 0.5, 100.0),
            ("step_fail_beside_c", &mut read.step_fail_beside_c, 0.5, 100.0),
            ("flat_tolerance_c", &mut read.flat_tolerance_c, 0.0, 5.0),
            ("flat_moved_c", &mut read.flat_moved_c, 0.1, 50.0),
            ("unit_jump_c", &mut read.unit_jump_c, 5.0, 100.0),
            ("unit_tenths_jump_c", &mut read.unit_tenths_jump_c, 5.0, 100.0),
            ("unit_hottest_day_c", &mut read.unit_hottest_day_c, 20.0, 60.0),
            ("level_c", &mut read.level_c, 0.1, 50.0),
            ("drift_c_per_day", &mut read.drift_c_per_day, 0.01, 10.0),
        ];
        let others: [(&'static str, &mut f64, f64, f64); 11] = [
            ("repeat_suspect_hours", &mut read.repeat_suspect_hours, 3.0, 1_000.0),
            ("repeat_fail_hours", &mut read.repeat_fail_hours, 3.0, 1_000.0),
            ("step_alone", &mut read.step_alone, 1.0, 10.0),
            ("excursion_hours", &mut read.excursion_hours, 0.5, 72.0),
            ("flat_suspect_hours", &mut read.flat_suspect_hours, 0.5, 1_000.0),
            ("flat_fail_hours", &mut read.flat_fail_hours, 0.5, 1_000.0),
            ("flat_beside_suspect_hours", &mut read.flat_beside_suspect_hours, 0.5, 1_000.0),
            ("flat_beside_fail_hours", &mut read.flat_beside_fail_hours, 0.5, 1_000.0),
            ("level_spreads", &mut read.level_spreads, 0.0, 10.0),
            ("lag_hours", &mut read.lag_hours, 0.25, 5.0),
            ("lag_unseen_hours", &mut read.lag_unseen_hours, 0.25, 5.0),
        ];
        for (name, into, low, high) in celsius.into_iter().chain(others) {
            *into = fields.number(name, low, high).unwrap_or(*into);
        }
        for (name, into, low, high) in [
            ("ahead_minutes", &mut read.ahead_minutes, 0, 1_440),
            ("oldest_year", &mut read.oldest_year, 1_900, 2_100),
            ("apart_days", &mut read.apart_days, 1, 73_000),
            ("repeat_days", &mut read.repeat_days, 1, 366),
        ] {
            *into = fields.whole(name, low, high).unwrap_or(*into);
        }
        read_steps(fields, &mut read.step_c);
        read.in_order(fields).then_some(read)
    }

    /// A text that is another one whenever readings would get other flags.
    pub fn rules(&self) -> String {
        format!("{VERSION} {self:?}")
    }

    /// Whether each suspect limit comes before its fail limit.
    fn in_order(&self, fields: &Fields<'_>) -> bool {
        let pairs = [
            (
                "range_suspect_below_c",
                -self.range_suspect_below_c,
                "range_fail_below_c",
                -self.range_fail_below_c,
            ),
            (
                "range_suspect_above_c",
                self.range_suspect_above_c,
                "range_fail_above_c",
                self.range_fail_above_c,
            ),
            ("repeat_suspect_hours", self.repeat_suspect_hours, "repeat_fail_hours", self.repeat_fail_hours),
            ("spike_suspect_c", self.spike_suspect_c, "spike_fail_c", self.spike_fail_c),
            ("flat_suspect_hours", self.flat_suspect_hours, "flat_fail_hours", self.flat_fail_hours),
            (
                "flat_beside_suspect_hours",
                self.flat_beside_suspect_hours,
                "flat_beside_fail_hours",
                self.flat_beside_fail_hours,
            ),
        ];
        let mut in_order = true;
        for (suspect, at_first, fail, at_last) in pairs {
            if at_first > at_last {
                fields.fault(suspect, format!("lies beyond `{fail}`: what fails is suspect first"));
                in_order = false;
            }
        }
        in_order
    }

    /// Begin of the first year whose stamps are believed.
    pub(super) fn oldest(&self) -> Instant {
        let year = i32::try_from(self.oldest_year).unwrap_or(i32::MAX);
        let begin = NaiveDate::from_ymd_opt(year, 1, 1).unwrap_or(NaiveDate::MAX);
        Instant(begin.and_time(NaiveTime::MIN).and_utc().timestamp())
    }

    /// Seconds that a stamp may lie ahead of the clock.
    pub(super) fn ahead_seconds(&self) -> i64 {
        self.ahead_minutes * MINUTE
    }

    /// Largest ordinary step between two readings so many seconds apart, °C;
    /// none beyond twelve hours.
    pub(super) fn step_c(&self, seconds: i64) -> Option<f64> {
        let hours = seconds as f64 / HOUR as f64;
        let (mut from, mut least) = (0.0, STEP_AT_ONCE_C.min(self.step_c[0]));
        for (to, most) in STEP_HOURS.into_iter().zip(self.step_c) {
            if hours <= to {
                return Some(least + (most - least) * (hours - from) / (to - from));
            }
            (from, least) = (to, most);
        }
        None
    }

    /// The same within three hours, where it always is.
    pub(super) fn near_step_c(&self, seconds: i64) -> f64 {
        self.step_c(seconds.clamp(0, JOINED)).unwrap_or(self.step_c[2])
    }
}

fn read_steps(fields: &Fields<'_>, into: &mut [f64; 5]) {
    let Some(steps) = fields.numbers("step_c", 0.5, 100.0) else {
        return;
    };
    match <[f64; 5]>::try_from(steps) {
        Ok(steps) if steps.is_sorted() => *into = steps,
        _ => fields.fault("step_c", "expected five rising limits in °C, for 1, 2, 3, 6 and 12 hours"),
    }
}
