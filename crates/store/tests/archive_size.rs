//! What the archive of forecasts takes on disk: one site, one season.
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a test stops at the first surprise")]

use model::series::{Forecast, Kind, Reading};
use model::time::{DAY, HOUR, Instant};
use store::{Members, Site, Source, Store, Way};

const SPRING: &str = include_str!("../../../tests/data/spring-2013.csv");
/// A season: April and May, less the horizon that the readings leave.
const DAYS: i64 = 56;
/// Five days ahead, by the hour.
const HORIZON: usize = 120;
const MEMBERS: usize = 40;
/// Measured: 0.71 MB of hourly issues, 5.2 MB with forty members four times a day.
const MOST_BYTES: [u64; 2] = [1_000_000, 7_000_000];

/// Real hours, in tenths as providers give them and corrected for 37 m of height.
fn hours() -> Vec<Reading> {
    let rows = SPRING.lines().filter(|line| line.starts_with("EWR"));
    let reading = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let celsius = (cells[5].parse::<f64>().unwrap() - 32.0) * 5.0 / 9.0;
        Reading::instant(cells[14].parse().unwrap(), (celsius * 10.0).round() / 10.0 + 37.0 * 0.0065)
    };
    rows.map(reading).collect()
}

#[tokio::test]
async fn a_season_of_issues_takes_few_megabytes() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("archive.db");
    let store = Store::open(path.to_str().unwrap()).await.unwrap();
    let site = Site {
        id: "site".into(),
        farm_id: None,
        name: "Ridge".into(),
        latitude: 40.7,
        longitude: -74.2,
        elevation_m: None,
        time_zone: "UTC".into(),
        version: 1,
        created_at: Instant(0),
    };
    store.add_site(&site).await.unwrap();
    let source = Source {
        id: "source".into(),
        site_id: site.id,
        name: "Sky".into(),
        way: Way::Feed,
        provider: Some("open-meteo".into()),
        cell: Some("cell".into()),
        kind: Kind::ModelAnalysis,
        trust: 1,
        mapping: None,
        created_at: Instant(0),
    };
    store.add_source(&source).await.unwrap();
    let empty = bytes(&path).await;
    let all = hours();
    let issues = (DAYS * DAY / HOUR) as usize;
    for issue in 0..issues {
        let at = all[issue].at;
        let ahead = all[issue + 1..=issue + HORIZON].to_vec();
        let forecast = Forecast { issued_at: at, hours: ahead };
        store.store_fetch("source", &[], Some(&forecast), at).await.unwrap();
    }
    let of_issues = bytes(&path).await - empty;
    for issue in (0..issues).step_by(6) {
        let ahead = &all[issue + 1..=issue + HORIZON];
        // Members part with the hours, each its own way.
        let member = |number: usize| -> Vec<Reading> {
            let apart =
                |hour: usize| ((hour * (number + 3)) % 17) as f64 / 10.0 * hour as f64 / HORIZON as f64;
            let moved = |(hour, reading): (usize, &Reading)| Reading {
                celsius: reading.celsius + apart(hour),
                ..*reading
            };
            ahead.iter().enumerate().map(moved).collect()
        };
        let members = Members { issued_at: all[issue].at, hours: (0..MEMBERS).map(member).collect() };
        store.store_members("source", &members, all[issue].at).await.unwrap();
    }
    let of_both = bytes(&path).await - empty;
    println!(
        "{issues} issues of {HORIZON} hours: {of_issues} bytes; with {MEMBERS} members every six hours: {of_both}"
    );
    assert!(of_issues < MOST_BYTES[0] && of_both < MOST_BYTES[1], "{of_issues} {of_both}");
}

/// The file with nothing left beside it.
async fn bytes(path: &std::path::Path) -> u64 {
    let copy = path.with_extension("copy");
    let _ = std::fs::remove_file(&copy);
    Store::snapshot(path.to_str().unwrap(), copy.to_str().unwrap(), false).await.unwrap();
    std::fs::metadata(&copy).unwrap().len()
}
