//! A site's weather: its sources with what checking found, the picture of the last two
//! weeks, and the newest forecast.

use access::Deed;
use api::Air;
use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use charts::weather::{self, Lane, Seen, Sources};
use chrono_tz::Tz;
use model::series::{Reading, Series};
use model::time::{DAY, HOUR, Instant};
use model::units::Units;
use serde_json::Value;
use store::Site;

use crate::said::Reader;
use crate::tables::{Table, drawn};
use crate::visit::{Shown, Signed};
use crate::words::Words;
use crate::{pages, said};

/// The page looks back so long.
const BACK: i64 = 14 * DAY;
/// A temperature of more spans than this is drawn from fewer readings: a line of 1000
/// px shows no more.
const MOST_SPANS: usize = 1_500;
/// Then one reading is taken of each such stretch.
const DRAWN_EVERY: i64 = HOUR / 2;
/// Findings that are told one by one, of one source.
const TOLD: usize = 12;

#[derive(Template)]
#[template(path = "site.html")]
struct Page {
    words: &'static Words,
    title: String,
    site_id: String,
    /// The farm it belongs to; none for the server's own.
    farm_id: Option<String>,
    /// Whether they may write its readings.
    writes: bool,
    place: String,
    sources: Vec<SourceShown>,
    picture: Option<String>,
    table: Table,
    forecast: Option<ForecastShown>,
}

/// One source.
struct SourceShown {
    name: String,
    /// Label and value of each fact.
    facts: Vec<(&'static str, String)>,
    /// What checking found, the newest first.
    found: Vec<String>,
    /// Findings that are not told.
    more: Option<String>,
}

/// The forecast in use.
struct ForecastShown {
    head: String,
    attribution: Option<String>,
    days: Table,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let (site, zone) = signed.site(&id).await?;
    let (words, now) = (signed.words(), signed.0.now());
    let reader = signed.reader(zone);
    // From a day's begin on, so that the picture's first day is whole.
    let from = Instant::on_wall(now.plus(-BACK).local_date(zone).and_time(Default::default()), zone);
    let standing = signed.0.read(&["sites", &site.id, "standing"], &[]).await?;
    let air = signed.0.air(&site, from).await?;
    let stands = standing["items"].as_array().cloned().unwrap_or_default();
    let forecast = air.forecast.as_ref().map(|(place, forecast)| {
        let source = &air.sources[*place].source;
        let of = stands.iter().find(|one| one["source"] == source.id.as_str());
        let attribution = of.and_then(|of| of["feed"]["attribution"].as_str()).map(str::to_owned);
        let age = said::ago(forecast.issued_at, now, words);
        let issued = said::dated(forecast.issued_at, zone);
        let head = words.fill("site.issued", &[("source", &source.name), ("at", &issued), ("age", &age)]);
        ForecastShown { head, attribution, days: days(&forecast.hours, now, reader) }
    });
    let (picture, table) = picture(&site, &air, (from, now), zone, words);
    let page = Page {
        words,
        title: site.name.clone(),
        place: place(&site, reader.units, words),
        sources: stands.iter().map(|of| source(of, &air, reader, now)).collect(),
        picture,
        table,
        forecast,
        writes: site.farm_id.as_ref().is_some_and(|farm| signed.0.caller().may(Deed::Log, farm)),
        site_id: site.id,
        farm_id: site.farm_id,
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// Where it lies.
fn place(site: &Site, units: Units, words: &Words) -> String {
    let north = words.get(if site.latitude < 0.0 { "site.south" } else { "site.north" });
    let east = words.get(if site.longitude < 0.0 { "site.west" } else { "site.east" });
    let position = format!("{:.4}° {north}, {:.4}° {east}", site.latitude.abs(), site.longitude.abs());
    let mut said = words.fill("site.place", &[("position", &position), ("zone", &site.time_zone)]);
    if let Some(metres) = site.elevation_m {
        said.push(' ');
        said.push_str(&words.fill("site.height", &[("height", &said::height(metres, units))]));
    }
    said
}

/// What is known of a source, from how it stands and what it read.
fn source(of: &Value, air: &Air, reader: Reader, now: Instant) -> SourceShown {
    let Reader { zone, units, words } = reader;
    let at = |value: &Value| value.as_str().and_then(|text| text.parse::<Instant>().ok());
    let told = |at: Instant| format!("{} ({})", said::dated(at, zone), said::ago(at, now, words));
    let seen = air.sources.iter().find(|one| of["source"] == one.source.id.as_str());
    let mut facts = Vec::new();
    let way = match of["way"].as_str() {
        Some("feed") => words.get("site.way_feed"),
        Some("file") => words.get("site.way_file"),
        _ => words.get("site.way_hand"),
    };
    facts.push((words.get("site.way"), way.to_owned()));
    if let Some(seen) = seen {
        facts.push((words.get("site.kind"), seen.source.kind.word().to_owned()));
    }
    let newest = at(&of["last_reading_at"]);
    facts.push((words.get("site.newest"), newest.map_or(words.get("site.nothing").to_owned(), told)));
    if let Some(warmer) = of["first_is_warmer_by"].as_f64() {
        facts.push((words.get("site.warmer"), said::difference(warmer, units)));
    }
    let feed = &of["feed"];
    if let Some(provider) = feed["provider"].as_str() {
        let cell = feed["cell"].as_str().unwrap_or_default();
        facts.push((words.get("site.feed"), format!("{provider}, {cell}")));
        let fetched = at(&feed["last_fetch_at"]).map_or(words.get("site.never").to_owned(), told);
        facts.push((words.get("site.fetched"), fetched));
        if let Some(next) = at(&feed["next_fetch_at"]) {
            facts.push((words.get("site.next"), said::dated(next, zone)));
        }
        if let Some(error) = feed["last_error"].as_str() {
            facts.push((words.get("site.error"), error.to_owned()));
        }
        if let Some(until) = at(&feed["left_alone_until"]) {
            facts.push((words.get("site.left_alone"), said::dated(until, zone)));
        }
        if let Some(attribution) = feed["attribution"].as_str() {
            facts.push((words.get("site.credit"), attribution.to_owned()));
        }
    }
    for file in of["files"].as_array().into_iter().flatten() {
        if let (Some(name), Some(fault)) = (file["name"].as_str(), file["fault"].as_str()) {
            facts.push((words.get("site.file_fault"), format!("{name}: {fault}")));
        }
    }
    let doubted = seen.map_or(&[][..], |seen| seen.doubted.as_slice());
    let sentence = |one: &api::Doubted| {
        let used = if one.reading.flag.usable() { "site.used" } else { "site.not_used" };
        let (celsius, when) = (said::celsius(one.reading.celsius, units), one.reading.at.spoken(zone));
        format!("{when}, {celsius}, {} ({}): {}", one.check, words.get(used), one.detail)
    };
    let left = doubted.len().saturating_sub(TOLD);
    SourceShown {
        name: of["name"].as_str().unwrap_or_default().to_owned(),
        facts,
        found: doubted.iter().rev().take(TOLD).map(sentence).collect(),
        more: (left > 0).then(|| words.fill("site.more", &[("n", &left)])),
    }
}

/// The picture of all sources, where any of them read something, and its table.
fn picture(
    site: &Site,
    air: &Air,
    (from, to): (Instant, Instant),
    zone: Tz,
    words: &Words,
) -> (Option<String>, Table) {
    let seen = |of: &api::AirSource| -> Vec<(Instant, f64, bool, Option<&'static str>)> {
        let check = |reading: &Reading| {
            let found = of.doubted.iter().find(|one| one.reading.at == reading.at);
            found.map(|one| one.check)
        };
        let row = |reading: &Reading| (reading.at, reading.celsius, reading.flag.usable(), check(reading));
        of.readings.iter().map(row).collect()
    };
    let read: Vec<Vec<Seen<'_>>> = air
        .sources
        .iter()
        .map(|of| {
            let all = seen(of).into_iter();
            all.map(|(at, celsius, usable, flag)| Seen { at, celsius, usable, flag }).collect()
        })
        .collect();
    let gaps: Vec<_> = read.iter().map(|seen| weather::gaps(seen, from, to)).collect();
    let lanes: Vec<Lane<'_>> = air
        .sources
        .iter()
        .zip(read.iter().zip(&gaps))
        .map(|(of, (readings, gaps))| Lane { name: &of.source.name, readings, gaps })
        .collect();
    let sources = Sources { site: &site.name, zone, from, to, lanes: &lanes, joined: &air.joined };
    let table = Table::of(words.get("site.table"), weather::table(&sources));
    if read.iter().all(Vec::is_empty) {
        return (None, table);
    }
    let fewer = fewer(air, to);
    let joined = fewer.as_ref().unwrap_or(&air.joined);
    (Some(drawn(&weather::picture(&Sources { joined, ..sources }))), table)
}

/// The joined temperature from fewer readings, where a line of all of them would be
/// longer than anyone sees.
fn fewer(air: &Air, now: Instant) -> Option<Series> {
    if air.joined.spans.len() <= MOST_SPANS {
        return None;
    }
    let thinned = |of: &api::AirSource| {
        let mut kept: Vec<Reading> = Vec::new();
        for reading in of.readings.iter().filter(|reading| reading.flag.usable()) {
            let slot = |reading: &Reading| reading.at.0.div_euclid(DRAWN_EVERY);
            if kept.last().is_none_or(|last| slot(last) != slot(reading)) {
                kept.push(*reading);
            }
        }
        kept
    };
    let sources: Vec<Vec<Reading>> = air.sources.iter().map(thinned).collect();
    Some(Series::join(&sources, air.forecast.as_ref().map(|(_, forecast)| forecast), now))
}

/// The coldest and the warmest hour of each day ahead.
fn days(hours: &[Reading], now: Instant, reader: Reader) -> Table {
    let Reader { zone, units, words } = reader;
    let mut days: Vec<(String, f64, f64)> = Vec::new();
    for hour in hours.iter().filter(|hour| hour.at > now) {
        let day = hour.at.local_date(zone).format("%a %-d %b").to_string();
        match days.last_mut() {
            Some((known, low, high)) if *known == day => {
                (*low, *high) = (low.min(hour.celsius), high.max(hour.celsius));
            }
            _ => days.push((day, hour.celsius, hour.celsius)),
        }
    }
    let head = ["site.day", "site.coldest", "site.warmest"].map(|key| words.get(key).to_owned()).to_vec();
    let rows = days
        .into_iter()
        .map(|(day, low, high)| vec![day, said::celsius(low, units), said::celsius(high, units)]);
    Table::of(words.get("site.days"), std::iter::once(head).chain(rows).collect())
}
