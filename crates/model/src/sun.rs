//! Where the sun stands over a place, and when it comes up and goes down.
//!
//! The equations are those of NOAA's solar calculator, after Meeus,
//! Astronomical Algorithms (2nd ed., 1998, ch. 25 and 28), at low accuracy;
//! published. NOAA states a minute for rise and set up to 72° of latitude. Held
//! against the full theory they are at most 5 s off, 7 s beyond the polar circle
//! (`tests/reference`); hills, the day's air and the height of the place make
//! more.

use libm::{asin, cos, sin, tan};

use crate::time::{DAY, Instant, MINUTE};

/// The sun is up while its centre stands above this, degrees: its upper limb is
/// then seen on a level horizon, lifted 34′ by the air, its own radius 16′
/// (NOAA; published).
pub const HORIZON_DEGREES: f64 = -0.833;

/// Noon of 1 January 2000 UTC, from which NOAA's equations count.
const J2000: i64 = 946_728_000;
/// Seconds in a century of 36 525 days.
const CENTURY: f64 = 36_525.0 * DAY as f64;
/// Minutes in a day, and in the half of it.
const DAY_MIN: f64 = 1_440.0;
const HALF_DAY_MIN: f64 = 720.0;
/// Minutes that the sun takes to pass a degree of longitude.
const MINUTES_A_DEGREE: f64 = 4.0;

/// The sun as seen from one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Sine and cosine of the latitude.
    latitude: (f64, f64),
    /// Degrees east.
    longitude: f64,
}

impl Sun {
    /// The sun over a place, by its degrees north and east.
    pub fn at(latitude: f64, longitude: f64) -> Sun {
        let north = latitude.to_radians();
        Sun { latitude: (sin(north), cos(north)), longitude }
    }

    /// How high the centre of the sun stands over a level horizon, degrees;
    /// negative below it. The bending of its light by the air is left out.
    pub fn elevation(&self, at: Instant) -> f64 {
        let sun = Apparent::at(at);
        let hour_angle = (self.solar_minutes(at, &sun) / MINUTES_A_DEGREE - 180.0).to_radians();
        let (sine, cosine) = self.latitude;
        let height = sine * sin(sun.declination) + cosine * cos(sun.declination) * cos(hour_angle);
        asin(height.clamp(-1.0, 1.0)).to_degrees()
    }

    /// Whether any of the sun is seen on a level horizon.
    pub fn is_up(&self, at: Instant) -> bool {
        self.elevation(at) > HORIZON_DEGREES
    }

    /// Each rise (`true`: up from then on) and set (`false`) after `from` and
    /// up to `to`, in order, by the first whole second of the new state. None
    /// in the polar night and on days without a night. A day or a night of some
    /// minutes, as at the edges of those, may be passed over.
    pub fn changes(&self, from: Instant, to: Instant) -> Vec<(Instant, bool)> {
        let mut changes = Vec::new();
        let (mut at, mut up) = (from, self.is_up(from));
        while at < to {
            // Between noon and midnight it only sinks, and then only climbs.
            let next = self.next_turn(at).min(to);
            let then = self.is_up(next);
            if then != up {
                changes.push((self.first_second(at, next, then), then));
            }
            (at, up) = (next, then);
        }
        changes
    }

    /// The next noon or midnight by the sun, to some 15 s.
    fn next_turn(&self, at: Instant) -> Instant {
        let past = self.solar_minutes(at, &Apparent::at(at)).rem_euclid(HALF_DAY_MIN);
        at.plus((((HALF_DAY_MIN - past) * MINUTE as f64) as i64).max(1))
    }

    /// The first second of `(from, to]` from which the sun is `up`, or down;
    /// at `to` it is.
    fn first_second(&self, from: Instant, to: Instant, up: bool) -> Instant {
        let (mut before, mut by) = (from, to);
        while by.since(before) > 1 {
            let middle = before.plus(by.since(before) / 2);
            if self.is_up(middle) == up { by = middle } else { before = middle }
        }
        by
    }

    /// Minutes since midnight on a sundial at the place, 0 to 1440.
    fn solar_minutes(&self, at: Instant, sun: &Apparent) -> f64 {
        let clock = at.0.rem_euclid(DAY) as f64 / MINUTE as f64;
        (clock + sun.ahead_min + MINUTES_A_DEGREE * self.longitude).rem_euclid(DAY_MIN)
    }
}

/// What does not hang on the place.
struct Apparent {
    /// Angle north of the equator, radians.
    declination: f64,
    /// Equation of time: by how much sundials are ahead of clocks, minutes.
    ahead_min: f64,
}

impl Apparent {
    fn at(at: Instant) -> Apparent {
        let t = at.since(Instant(J2000)) as f64 / CENTURY;
        let mean_longitude =
            (280.46646 + t * (36_000.769_83 + t * 0.000_303_2)).rem_euclid(360.0).to_radians();
        let anomaly = (357.52911 + t * (35_999.050_29 - t * 0.000_153_7)).rem_euclid(360.0).to_radians();
        let eccentricity = 0.016_708_634 - t * (0.000_042_037 + t * 0.000_000_126_7);
        let centre = sin(anomaly) * (1.914_602 - t * (0.004_817 + t * 0.000_014))
            + sin(2.0 * anomaly) * (0.019_993 - t * 0.000_101)
            + sin(3.0 * anomaly) * 0.000_289;
        // Nutation and aberration turn the true longitude into the apparent one.
        let node = (125.04 - 1_934.136 * t).rem_euclid(360.0).to_radians();
        let longitude = mean_longitude + (centre - 0.00569 - 0.00478 * sin(node)).to_radians();
        let tilt_seconds = 21.448 - t * (46.815 + t * (0.00059 - t * 0.001_813));
        let tilt = (23.0 + (26.0 + tilt_seconds / 60.0) / 60.0 + 0.00256 * cos(node)).to_radians();
        let y = tan(tilt / 2.0) * tan(tilt / 2.0);
        let ahead = y * sin(2.0 * mean_longitude) - 2.0 * eccentricity * sin(anomaly)
            + 4.0 * eccentricity * y * sin(anomaly) * cos(2.0 * mean_longitude)
            - 0.5 * y * y * sin(4.0 * mean_longitude)
            - 1.25 * eccentricity * eccentricity * sin(2.0 * anomaly);
        Apparent {
            declination: asin(sin(tilt) * sin(longitude)),
            ahead_min: MINUTES_A_DEGREE * ahead.to_degrees(),
        }
    }
}

#[cfg(test)]
mod tests;
