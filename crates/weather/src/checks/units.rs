//! Values of another unit.
//!
//! The course is followed from reading to reading. Where a value leaves what is
//! expected by far, and would fit it as one of another unit, it is taken for
//! such, and followed in its true unit until values fit again as they stand.

use model::series::{CADENCE, Flag, JOINED};
use model::time::{DAY, HOUR};

use super::line::Line;
use super::sheet::{Course, Sheet};
use super::{Check, Thresholds};

/// What a value was in truth.
#[derive(Clone, Copy, PartialEq)]
enum Mix {
    Fahrenheit,
    Kelvin,
    Tenths,
    Turned,
}

/// What a reading is expected to be.
struct Expected {
    celsius: f64,
    /// How far off an honest reading may be, °C.
    within: f64,
    /// Seconds since the reading that it follows from; none where it comes from
    /// elsewhere.
    since: Option<i64>,
}

impl Mix {
    const ALL: [Mix; 4] = [Mix::Fahrenheit, Mix::Kelvin, Mix::Tenths, Mix::Turned];

    fn celsius(self, value: f64) -> f64 {
        match self {
            Mix::Fahrenheit => (value - 32.0) / 1.8,
            Mix::Kelvin => value - 273.15,
            Mix::Tenths => value / 10.0,
            Mix::Turned => -value,
        }
    }

    fn spoken(self) -> &'static str {
        match self {
            Mix::Fahrenheit => "°F taken for °C",
            Mix::Kelvin => "K taken for °C",
            Mix::Tenths => "tenths of a degree taken for degrees",
            Mix::Turned => "the sign turned",
        }
    }
}

pub(super) fn judge(sheet: &mut Sheet, others: &[Line], limits: &Thresholds) {
    let course = sheet.course();
    let mixes = follow(&course, others, limits);
    for n in 0..course.len() {
        let Some(mix) = mixes[n] else {
            continue;
        };
        // A lone one among others is a spike, whatever it may look like.
        let lone = (n == 0 || mixes[n - 1].is_none()) && mixes.get(n + 1).is_some_and(Option::is_none);
        if !lone {
            let value = course.celsius[n];
            let detail = format!("{value:.1} would be {:.1} °C as {}", mix.celsius(value), mix.spoken());
            sheet.note(course.rows[n], Check::UnitMixUp, Flag::Fail, detail);
        }
    }
}

/// What each reading is taken for; none where it stands as it is.
fn follow(course: &Course, others: &[Line], limits: &Thresholds) -> Vec<Option<Mix>> {
    let mut known = Known::new(others);
    let mut mix = from_the_start(course, limits);
    let mut mixes = Vec::with_capacity(course.len());
    for (at, value) in course.at.iter().copied().zip(course.celsius.iter().copied()) {
        let expected = known.expected(at, limits);
        let off = |celsius: f64| expected.as_ref().map_or(0.0, |expected| (celsius - expected.celsius).abs());
        mix = match mix {
            // Both may fit near 0 °C: the nearer one holds.
            Some(mix)
                if off(mix.celsius(value)) <= off(value)
                    && !known.borne_out(at, value, mix.celsius(value)) =>
            {
                Some(mix)
            }
            _ => expected.as_ref().and_then(|expected| known.mix(at, value, expected, limits)),
        };
        let celsius = mix.map_or(value, |mix| mix.celsius(value));
        known.learn(at, celsius, expected.as_ref());
        mixes.push(mix);
    }
    mixes
}

/// A source whose first day is hotter than any place with apples.
fn from_the_start(course: &Course, limits: &Thresholds) -> Option<Mix> {
    let first = *course.at.first()?;
    let end = course.at.partition_point(|at| *at < first + DAY);
    let mut day = course.celsius[..end].to_vec();
    day.sort_by(f64::total_cmp);
    match day.get(day.len() / 2) {
        Some(median) if *median > 200.0 => Some(Mix::Kelvin),
        Some(median) if *median > limits.unit_hottest_day_c => Some(Mix::Fahrenheit),
        _ => None,
    }
}

/// What is known so far of the course in its true unit.
struct Known<'a> {
    last: Option<(i64, f64)>,
    /// A reading far from what was expected, until the next one bears it out.
    doubtful: Option<f64>,
    /// The last values at each hour of day, with how many there are.
    hours: [([f64; 3], usize); 24],
    /// The site's other sources with their mean difference and of how many.
    others: Vec<(&'a Line, f64, usize)>,
}

/// What may lie between a reading and what another source lets expect, °C.
/// Measured: EWR and JFK, 33 km apart, differ by more in one hour of a hundred.
const BESIDE_C: f64 = 8.0;
/// The same from the last days at this hour.
const BY_DAY_C: f64 = 10.0;

impl<'a> Known<'a> {
    fn new(others: &'a [Line]) -> Known<'a> {
        let others = others.iter().map(|other| (other, 0.0, 0)).collect();
        Known { last: None, doubtful: None, hours: [([0.0; 3], 0); 24], others }
    }

    fn beside(&self, at: i64) -> Option<f64> {
        self.others.iter().find_map(|(other, apart, _)| Some(other.at(at)? + apart))
    }

    fn expected(&self, at: i64, limits: &Thresholds) -> Option<Expected> {
        if let Some((before, celsius)) = self.last.filter(|(before, _)| at - before <= JOINED) {
            let within = limits.near_step_c(at - before);
            return Some(Expected { celsius, within, since: Some(at - before) });
        }
        if let Some(celsius) = self.beside(at) {
            return Some(Expected { celsius, within: BESIDE_C, since: None });
        }
        self.usual(at).map(|celsius| Expected { celsius, within: BY_DAY_C, since: None })
    }

    /// Mean of the last days at this hour.
    fn usual(&self, at: i64) -> Option<f64> {
        let (values, count) = &self.hours[hour(at)];
        let values = &values[..(*count).min(3)];
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }

    /// Whether the last days or another source bear a value out as it stands,
    /// rather than as one of another unit.
    fn borne_out(&self, at: i64, value: f64, otherwise: f64) -> bool {
        let nearer = |level: f64| (value - level).abs() < (otherwise - level).abs();
        self.usual(at).is_some_and(nearer) || self.beside(at).is_some_and(nearer)
    }

    /// The unit in which a value would fit what is expected of it, when it is
    /// far off as it stands.
    fn mix(&self, at: i64, value: f64, expected: &Expected, limits: &Thresholds) -> Option<Mix> {
        let off = |celsius: f64| (celsius - expected.celsius).abs();
        let far = limits.unit_jump_c.max(1.5 * expected.within);
        let fits = |mix: &Mix| {
            let celsius = mix.celsius(value);
            let far = match mix {
                Mix::Tenths => far.max(limits.unit_tenths_jump_c),
                // A front across a longer gap may well turn the sign.
                Mix::Turned if expected.since.is_some_and(|since| since > CADENCE) => f64::INFINITY,
                _ => far,
            };
            off(value) > far
                && off(celsius) <= 1.5 * expected.within
                && 3.0 * off(celsius) < off(value)
                && !self.borne_out(at, value, celsius)
        };
        Mix::ALL
            .into_iter()
            .filter(fits)
            .min_by(|a, b| off(a.celsius(value)).total_cmp(&off(b.celsius(value))))
    }

    /// Takes a value in its true unit. One far from what was expected counts
    /// only when the next one bears it out: a spike must not lead astray.
    fn learn(&mut self, at: i64, celsius: f64, expected: Option<&Expected>) {
        if let Some(expected) = expected.filter(|expected| expected.since.is_some())
            && (celsius - expected.celsius).abs() > 1.5 * expected.within
            && self.doubtful.is_none_or(|doubtful| (celsius - doubtful).abs() > expected.within)
        {
            self.doubtful = Some(celsius);
            return;
        }
        self.doubtful = None;
        self.last = Some((at, celsius));
        let (values, count) = &mut self.hours[hour(at)];
        values[*count % 3] = celsius;
        *count += 1;
        for (other, apart, count) in &mut self.others {
            if let Some(beside) = other.at(at) {
                *count += 1;
                *apart += (celsius - beside - *apart) / (*count).min(48) as f64;
            }
        }
    }
}

fn hour(at: i64) -> usize {
    (at.rem_euclid(DAY) / HOUR) as usize
}
