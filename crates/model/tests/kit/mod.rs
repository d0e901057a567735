//! What the checks share: the curves that ship, the real spring of 2013, and
//! seasons put together from JSON as people write them.

use std::path::PathBuf;
use std::sync::{Arc, LazyLock};

use model::catalogue::{Catalogue, Rules};
use model::curve::Curve;
use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::Plan;
use model::season::{self, Season};
use model::series::{Forecast, Reading, Series};
use model::time::{HOUR, Instant};
use model::units::TemperatureUnit;
use serde_json::{Value, json};

/// A file of the repository.
pub fn file(path: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn shipped(path: &str) -> Value {
    toml::from_str(&file(path)).expect("shipped settings are TOML")
}

/// The curves and materials that ship.
pub fn catalogue() -> Catalogue {
    Catalogue::read(&shipped("config/curves.toml"), &shipped("config/materials.toml"))
        .expect("what ships is sound")
}

/// The same with the tables that ship: cultivars, verdict, records.
pub fn ruled() -> Catalogue {
    static RULED: LazyLock<Catalogue> = LazyLock::new(read_ruled);
    RULED.clone()
}

fn read_ruled() -> Catalogue {
    let [cultivars, verdict, records] =
        ["cultivars", "verdict", "records"].map(|name| shipped(&format!("config/{name}.toml")));
    catalogue().ruled_by(Rules::read(&cultivars, &verdict, &records).expect("what ships is sound"))
}

/// A curve that ships.
pub fn curve(id: &str) -> Arc<Curve> {
    let curves = catalogue().curves;
    curves.into_iter().find(|curve| curve.id == id).expect("the curve ships")
}

/// A moment.
pub fn at(text: &str) -> Instant {
    text.parse().expect("tests write RFC 3339")
}

/// The hour at which the readings of most cases begin.
pub fn begin() -> Instant {
    at("2013-04-28T00:00:00Z")
}

/// A moment some hours after [`begin`].
pub fn hour(hours: f64) -> Instant {
    begin().plus((hours * 3_600.0) as i64)
}

/// An hourly instant at each of `celsius`, from [`begin`] on.
pub fn hourly(celsius: impl IntoIterator<Item = f64>) -> Vec<Reading> {
    (0..).zip(celsius).map(|(n, celsius)| Reading::instant(begin().plus(n * HOUR), celsius)).collect()
}

/// Hourly readings that stay at one temperature, both ends included.
pub fn steady(celsius: f64, hours: usize) -> Vec<Reading> {
    hourly(std::iter::repeat_n(celsius, hours + 1))
}

/// A station's readings of April and May 2013 as instants; the row of JFK that
/// the golden file leaves out is left out here too.
pub fn spring(station: &str) -> Vec<Reading> {
    let text = file("tests/data/spring-2013.csv");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let header = rows.headers().expect("a header").clone();
    let column = |name| header.iter().position(|title| title == name).expect("a column of that name");
    let (origin, temp, time) = (column("origin"), column("temp"), column("time_hour"));
    rows.records()
        .map(|row| row.expect("a row"))
        .filter(|row| &row[origin] == station)
        .filter(|row| (&row[origin], &row[time]) != ("JFK", "2013-05-09T02:00:00Z"))
        .map(|row| {
            let fahrenheit: f64 = row[temp].parse().expect("no temperature is missing");
            Reading::instant(at(&row[time]), TemperatureUnit::Fahrenheit.to_celsius(fahrenheit))
        })
        .collect()
}

/// Cumulative growth of one source's readings.
pub fn growth(curve: Arc<Curve>, readings: &[Reading]) -> Growth {
    growth_of(curve, &[readings.to_vec()], None, Instant::MAX)
}

/// Cumulative growth of several sources and a forecast as known at `now`.
pub fn growth_of(
    curve: Arc<Curve>,
    sources: &[Vec<Reading>],
    forecast: Option<&Forecast>,
    now: Instant,
) -> Growth {
    Growth::new(Arc::new(Course::new(Series::join(sources, forecast, now))), curve)
}

/// A block of 100 fruit a tree on the curve `reference`, in New York, with the
/// sprays given as `(material, mark)`.
pub fn plan(sprays: &[(&str, f64)]) -> Plan {
    let block = json!({
        "name": "Quarry Bank", "cultivar": "Gala", "curve": "reference",
        "flowers_per_cluster": 5, "target_fruit_per_tree": 100,
    });
    plan_of(&block, sprays)
}

/// A plan for a block given as JSON.
pub fn plan_of(block: &Value, sprays: &[(&str, f64)]) -> Plan {
    let sprays: Vec<Value> =
        sprays.iter().map(|(material, mark)| json!({"material": material, "mark": mark})).collect();
    let agreed = json!({"sprays": sprays});
    Plan::assemble(None, chrono_tz::America::New_York, block, Some(&agreed), &catalogue())
        .expect("a sound plan")
}

/// The plan of most cases under the tables that ship, for a block of which some
/// fields read otherwise.
pub fn ruled_plan(otherwise: &Value) -> Plan {
    let mut block = json!({
        "name": "Quarry Bank", "cultivar": "Gala", "curve": "reference",
        "flowers_per_cluster": 5, "target_fruit_per_tree": 100,
    });
    for (field, value) in otherwise.as_object().expect("fields of a block") {
        block[field] = value.clone();
    }
    let agreed = json!({"sprays": [
        {"material": "ammonium-thiosulfate", "mark": 0.60}, {"material": "lime-sulfur", "mark": 1.00},
    ]});
    Plan::assemble(None, chrono_tz::America::New_York, &block, Some(&agreed), &ruled()).expect("a sound plan")
}

/// The plan of most cases: ammonium thiosulfate at 0.60, lime sulfur at 1.00.
pub fn two_sprays() -> Plan {
    plan(&[("ammonium-thiosulfate", 0.60), ("lime-sulfur", 1.00)])
}

/// An entry of the log.
pub fn entry(document: Value) -> Entry {
    Entry::read(&document, None).unwrap_or_else(|faults| panic!("{document}: {faults}"))
}

/// A log in the order of a file.
pub fn log(entries: &[Value]) -> FieldLog {
    FieldLog::in_order(entries.iter().cloned().map(entry).collect()).expect("ids differ")
}

/// Open flowers counted.
pub fn count(id: &str, at: Instant, open: &[i64]) -> Value {
    json!({"id": id, "kind": "open-count", "at": at, "open_per_tree": open})
}

/// A start logged.
pub fn start(at: Instant) -> Value {
    json!({"id": "start-1", "kind": "bloom-start", "at": at})
}

/// Kings and laterals found alive, of so many of each, on trees of 180 clusters.
pub fn damage(id: &str, at: Instant, kings: (i64, i64), laterals: (i64, i64)) -> Value {
    json!({"id": id, "kind": "damage-count", "at": at, "clusters_per_tree": [180, 180],
        "kings_alive": kings.0, "kings_dead": kings.1 - kings.0,
        "laterals_alive": laterals.0, "laterals_dead": laterals.1 - laterals.0})
}

/// A decision, with its reason where there is one.
pub fn decision(id: &str, at: Instant, thin: bool, reason: Option<&str>) -> Value {
    json!({"id": id, "kind": "decision", "at": at, "thin": thin, "reason": reason})
}

/// A spray that took an hour.
pub fn spray(id: &str, at: Instant, material: &str) -> Value {
    json!({"id": id, "kind": "spray", "at": at, "finished_at": at.plus(HOUR), "material": material})
}

/// The same entry with one more field, or another value for it.
pub fn with(mut entry: Value, field: &str, value: impl Into<Value>) -> Value {
    entry[field] = value.into();
    entry
}

/// An entry taken back.
pub fn withdrawal(id: &str, at: Instant, of: &str) -> Value {
    json!({"id": id, "kind": "withdrawal", "at": at, "of": of, "reason": "entered on the wrong block"})
}

/// The season of a plan and log on one source's readings.
pub fn season(plan: &Plan, entries: &[Value], readings: &[Reading], now: Instant) -> Season {
    season_of(plan, &log(entries), &[readings.to_vec()], None, now)
}

/// The season of a plan and log on several sources and a forecast.
pub fn season_of(
    plan: &Plan,
    log: &FieldLog,
    sources: &[Vec<Reading>],
    forecast: Option<&Forecast>,
    now: Instant,
) -> Season {
    let growth = growth_of(plan.block.curve.clone(), sources, forecast, now);
    season::reckon(plan, log, &growth, now)
}

/// The sentence of the note of that code.
pub fn note_text(season: &Season, code: &str) -> String {
    let note = season.notes.iter().find(|note| note.code == code);
    note.unwrap_or_else(|| panic!("{code} among {:?}", season.notes)).text.to_string()
}

/// Whether a season carries a note of that code, on that entry where one is
/// given.
pub fn noted(season: &Season, code: &str, on: Option<&str>) -> bool {
    season.notes.iter().any(|note| note.code == code && (on.is_none() || note.entry.as_deref() == on))
}
