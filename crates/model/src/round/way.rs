//! Ways between blocks, by distance.

use libm::{asin, cos, sin, sqrt};
use serde::{Deserialize, Serialize};

use crate::time::HOUR;

/// Mean radius of the earth, km (IUGG; published).
pub const EARTH_KM: f64 = 6_371.008_8;

/// A point on the map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
}

impl Spot {
    /// Whether both are degrees on the earth.
    pub fn is_sound(&self) -> bool {
        (-90.0..=90.0).contains(&self.latitude) && (-180.0..=180.0).contains(&self.longitude)
    }

    /// Great circle to another point, km, by the haversine formula (Sinnott 1984, Sky
    /// and Telescope 68:159; published, from memory).
    pub fn km_to(&self, other: &Spot) -> f64 {
        let half = |a: f64, b: f64| sin((b - a).to_radians() / 2.0);
        let north = half(self.latitude, other.latitude);
        let east = half(self.longitude, other.longitude);
        let across = cos(self.latitude.to_radians()) * cos(other.latitude.to_radians());
        let square = north * north + across * east * east;
        2.0 * EARTH_KM * asin(sqrt(square.clamp(0.0, 1.0)))
    }
}

/// How a way is reckoned from a distance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ways {
    /// Speed of travel, km/h.
    pub km_per_hour: f64,
    /// How much longer lanes are than the great circle, 1 or more.
    pub detour: f64,
}

impl Default for Ways {
    /// 12 km/h and 1.4 (constructed: a tractor on farm lanes).
    fn default() -> Ways {
        Ways { km_per_hour: 12.0, detour: 1.4 }
    }
}

impl Ways {
    /// Whether a way can be reckoned by it: a speed of 0.1 to 200 km/h, a detour of 1 to
    /// 10.
    pub fn is_sound(&self) -> bool {
        (0.1..=200.0).contains(&self.km_per_hour) && (1.0..=10.0).contains(&self.detour)
    }

    /// Length of the way between two points, km; none where one is not known.
    pub fn km(&self, from: Option<Spot>, to: Option<Spot>) -> Option<f64> {
        Some(from?.km_to(&to?) * self.detour)
    }

    /// Whole seconds that it takes; 0 where one of the points is not known.
    pub fn seconds(&self, from: Option<Spot>, to: Option<Spot>) -> i64 {
        self.km(from, to).map_or(0, |km| (km / self.km_per_hour * HOUR as f64).round() as i64)
    }
}
