use chrono_tz::Tz;
use serde_json::{Value, json};

use super::*;
use crate::air::Air;
use crate::input::Faults;
use crate::materials::Material;
use crate::series::{Forecast, Reading, Series};

mod edges;
mod limits;
mod search;

const ZONE: Tz = chrono_tz::America::New_York;

fn at(text: &str) -> Instant {
    text.parse().unwrap()
}

/// Noon in New York on 1 May 2013; readings of most cases begin a day before.
fn noon() -> Instant {
    at("2013-05-01T16:00:00Z")
}

fn hour(n: i64) -> Instant {
    noon().plus(n * HOUR)
}

/// An air in which nothing speaks against an hour.
fn calm(at: Instant) -> Air {
    Air {
        wind_m_s: Some(2.0),
        gust_m_s: Some(3.0),
        rain_mm: Some(0.0),
        humidity_percent: Some(60.0),
        dew_point_c: None,
        at,
    }
}

/// A place whose weather is told from a day before [`noon`] to four days after it.
struct Weather {
    celsius: f64,
    air: Vec<Air>,
}

impl Weather {
    fn calm(celsius: f64) -> Weather {
        Weather { celsius, air: (-23..=96).map(|n| calm(hour(n))).collect() }
    }

    /// The same with other air in the hours that begin `from..to` after noon.
    fn but(mut self, from: i64, to: i64, change: impl Fn(&mut Air)) -> Weather {
        self.air.iter_mut().filter(|air| air.at > hour(from) && air.at <= hour(to)).for_each(change);
        self
    }

    fn hours(&self) -> Hours {
        let readings = (-24..=0).map(|n| Reading::instant(hour(n), self.celsius)).collect();
        let ahead = (1..=96).map(|n| Reading::instant(hour(n), self.celsius)).collect();
        let forecast = Forecast { issued_at: noon(), hours: ahead };
        let series = Series::join(&[readings], Some(&forecast), noon());
        Hours::of(&series, std::slice::from_ref(&self.air), hour(-24), hour(96))
    }
}

fn limits(list: &[(&str, f64)]) -> Limits {
    let limits: Vec<Value> = list
        .iter()
        .map(|(what, at)| match *what {
            "bee-quiet" => json!({"what": what, "source": "for tests", "status": "own"}),
            _ => json!({"what": what, "at": at, "source": "for tests", "status": "own"}),
        })
        .collect();
    Limits::read(&json!({"limit": limits})).unwrap()
}

fn wanted(bound: MarkBound, likely: Instant) -> Wanted {
    Wanted { leg: 1, mark: 0.6, bound, early: None, likely: Some(likely), late: None }
}

fn ask<'a>(hours: &'a Hours, limits: &'a Limits, wanted: Wanted) -> Ask<'a> {
    Ask {
        wanted,
        hours,
        sun: Sun::at(40.7, -74.2),
        limits,
        material: Some("lime-sulfur"),
        last_spray: None,
        frosts: &[],
        kill_line_c: -2.2,
        needed: HOUR,
        now: noon(),
    }
}

fn refused(document: &Value) -> Vec<(String, String)> {
    let Faults(faults) = Limits::read(document).unwrap_err();
    faults.into_iter().map(|fault| (fault.pointer, fault.detail)).collect()
}

fn shipped() -> Limits {
    let document: Value = toml::from_str(include_str!("../../../../config/slots.toml")).unwrap();
    Limits::read(&document).unwrap()
}

fn material(fields: Value) -> Material {
    Material::read_all(&json!({"lime-sulfur": fields})).unwrap().remove(0)
}
