//! `replay`: one season from a file, reckoned as the service does.

use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use charts::season::SeasonPicture;
use chrono_tz::Tz;
use model::ahead::{Ahead, Sky};
use model::catalogue::Catalogue;
use model::growth::{Course, Growth};
use model::odds::{self, Errors, Foretold, Line, Outlook, SeasonOdds};
use model::pollination::Bees;
use model::season::{self, Note, Season};
use model::series::Series;
use model::slot::Hours;
use model::sun::Sun;
use model::through;
use model::time::{DAY, Instant};
use model::words::CAUTION;

use crate::cli::{Format, ReplayArgs, failed, say, warn};
use crate::document;
use crate::season_file::SeasonFile;

/// Hours to spray in are looked at so far back and ahead.
const AROUND: i64 = 10 * DAY;

/// Runs the command; exit code 2 when the file has faults.
pub(crate) fn run(args: &ReplayArgs) -> ExitCode {
    match replay(args) {
        Ok(output) => {
            say(&output);
            ExitCode::SUCCESS
        }
        Err(error) => failed(&error),
    }
}

fn replay(args: &ReplayArgs) -> anyhow::Result<String> {
    let catalogue = document::catalogue(&document::Instead::default())?;
    let mut file = SeasonFile::read(&args.season, &catalogue)?;
    for row in &file.refused {
        warn(&format!("bloomtide: {row}"));
    }
    let Some(now) = args.now.or(file.end()) else {
        bail!("{} has neither a reading nor an entry; give --now", args.season.display());
    };
    let found = file.check(now, &document::thresholds(None)?);
    let sources: Vec<_> = file.sources.iter().map(|source| source.readings.clone()).collect();
    let joined = Series::join(&sources, file.forecast(now), now);
    let series = match &file.plan.block.offset {
        Some(offset) => joined.at_block(offset, &file.place),
        None => joined,
    };
    let bees = Bees::judge(&series, &[], &file.place);
    let course = Arc::new(Course::new(series).with_bees(bees));
    let growth = Growth::new(course, file.plan.block.curve.clone());
    let mut season = season::reckon(&file.plan, &file.log, &growth, now);
    season.notes.extend(found.notes(file.log.begin().unwrap_or(now), &season));
    note_readings_ahead(&file, now, &mut season);
    let ahead = ahead(&file, &growth, &season, &catalogue, now);
    if let Some(path) = &args.picture {
        let svg = picture(&file, &growth, &season, &catalogue, now);
        std::fs::write(path, svg).with_context(|| format!("{} cannot be written", path.display()))?;
    }
    Ok(match args.format {
        Format::Json => {
            let mut document = season.document();
            if let Some(Ahead { odds, slots }) = &ahead {
                document["odds"] = serde_json::to_value(odds)?;
                document["slots"] = serde_json::to_value(slots)?;
            }
            serde_json::to_string_pretty(&document)?
        }
        Format::Table => {
            let mut text = table(&season, &file.plan.block.name, file.place.zone);
            for line in ahead.iter().flat_map(|ahead| ahead.told(file.place.zone)) {
                text.push_str(&format!("\n{line}"));
            }
            for line in through::what_now(&season, &file.plan) {
                text.push_str(&format!("\n{line}"));
            }
            text
        }
    })
}

/// What lies ahead of the season, where the file has a forecast. Its errors are those of
/// the prior: a file has no earlier forecasts to learn from.
fn ahead(
    file: &SeasonFile,
    growth: &Growth,
    season: &Season,
    catalogue: &Catalogue,
    now: Instant,
) -> Option<Ahead> {
    let forecast = file.forecast(now)?;
    let members = std::slice::from_ref(&forecast.hours);
    let foretold = Foretold { issued_at: forecast.issued_at, members };
    let offset = file.plan.block.offset.as_ref();
    let sources: Vec<_> = file.sources.iter().map(|source| source.readings.clone()).collect();
    let site = Course::new(Series::join(&sources, Some(forecast), now));
    let outlook = match Outlook::new(&site, &foretold, &Errors::prior(), now) {
        Ok(outlook) => outlook,
        Err(fault) => return Some(Ahead { odds: SeasonOdds::without(&fault, now), slots: Vec::new() }),
    };
    let outlook = match offset {
        Some(offset) => outlook.at_block(offset, &file.place),
        None => outlook,
    };
    let course = Arc::new(Course::new(growth.course().series().clone()));
    let lines: Vec<_> = odds::curves_in_doubt(&file.plan.block.curve, &catalogue.curves)
        .into_iter()
        .map(|(curve, weight)| (Growth::new(course.clone(), curve.clone()), outlook.on(&curve), weight))
        .collect();
    let lines: Vec<Line<'_>> =
        lines.iter().map(|(growth, tubes, weight)| Line { growth, tubes, weight: *weight }).collect();
    let odds = odds::of(&file.plan, &file.log, season, &outlook, &lines, now);
    let hours = Hours::of(growth.course().series(), &[], now.plus(-AROUND), now.plus(AROUND));
    let sky = Sky { hours: &hours, sun: Sun::at(file.place.latitude, file.place.longitude) };
    let slots = model::ahead::slots(&file.plan, season, &odds, &sky, now);
    Some(Ahead { odds, slots })
}

/// The season drawn, with the first other curve of the same measure that ships
/// beside it.
fn picture(
    file: &SeasonFile,
    growth: &Growth,
    season: &Season,
    catalogue: &Catalogue,
    now: Instant,
) -> String {
    let picture = SeasonPicture::new(&file.plan, &file.log, growth, season, now);
    let curve = growth.curve();
    let other = catalogue.curves.iter().find(|other| other.id != curve.id && other.measure == curve.measure);
    let Some(other) = other else {
        return charts::season::picture(&picture);
    };
    let series = growth.course().series().clone();
    let beside = Growth::new(Arc::new(Course::new(series)), other.clone());
    let second = season::reckon(&file.plan, &file.log, &beside, now);
    charts::season::picture(&picture.beside(&file.log, &beside, &second))
}

fn note_readings_ahead(file: &SeasonFile, now: Instant, season: &mut Season) {
    let ahead = file.readings().filter(|reading| reading.at > now).count();
    if ahead > 0 {
        let text = format!("{ahead} readings after now ({now}) were left out.");
        season.notes.push(Note::new("readings-ahead", text));
    }
}

/// What stands before the clock and beside it, a sentence a line.
fn decision(season: &Season, zone: Tz) -> Vec<String> {
    let mut lines = vec![String::new()];
    let verdict = &season.verdict;
    let close = if verdict.close { ", but close" } else { "" };
    lines.push(format!("verdict: {}{close} - {}", verdict.verdict.spoken(), verdict.says));
    for row in verdict.matching.iter().filter(|row| row.row != verdict.row) {
        lines.push(format!("  also matches: {} - {}", row.verdict.spoken(), row.says));
    }
    if !verdict.missing.is_empty() {
        lines.push(format!("  missing: {}", verdict.missing.join(", ")));
    }
    lines.extend(verdict.would_change.iter().map(|change| format!("  would change it: {change}")));
    lines.push(match &season.decision {
        Some(decided) => {
            let reason = decided.reason.as_ref().map_or_else(String::new, |reason| format!(" - {reason}"));
            let what = if decided.thin { "thin" } else { "do not thin" };
            format!("decided {}: {what}{reason}", decided.at.spoken(zone))
        }
        None => "decided: nothing yet; the decision is yours".to_owned(),
    });
    lines.extend(season.buds.iter().map(|buds| buds.told()));
    lines.extend(season.style.iter().map(|style| style.told()));
    lines.extend(season.damage.iter().flat_map(|damage| damage.told()));
    if let Some(night) = &season.frost.look_after {
        lines.push(format!("frost: look for damage after {night}"));
    }
    if let Some(at) = season.count_again_at {
        lines.push(format!("count open flowers again by {}", at.spoken(zone)));
    }
    let target = season.target;
    lines.extend(season.flowers_through.and_then(|flowers| through::told(flowers, target)));
    for leg in &season.legs {
        if let Some(hours) = leg.bee_hours {
            lines.push(format!(
                "leg {}: {:.0} hours fit for bees, {:.0} unknown",
                leg.number, hours.fit, hours.unknown
            ));
        }
    }
    lines.extend(season.outcome.iter().flat_map(|outcome| outcome.told.iter().cloned()));
    lines
}

/// The season for people.
fn table(season: &Season, block: &str, zone: Tz) -> String {
    let moment = |at: Option<Instant>| at.map_or_else(|| "-".to_owned(), |at| at.spoken(zone));
    let mut lines = vec![
        format!("{block}, bloom {}: {}", season.year, season.state.word()),
        format!("readings up to {}; times are {}", moment(season.as_of), zone.name()),
    ];
    if let Some(start) = &season.start {
        lines.push(format!(
            "start {} ({} to {})",
            start.at.spoken(zone),
            moment(start.earliest),
            moment(start.latest)
        ));
    } else {
        lines.push("the clock has not started".to_owned());
    }
    lines.push(String::new());
    lines.push(format!(
        "{:<4} {:<18} {:>5} {:<11} {:<18} {:<18} {:>9}  {}",
        "leg", "from", "mark", "", "reached", "expected", "progress", "ended"
    ));
    for leg in &season.legs {
        let mark = leg.mark.map_or_else(|| "-".to_owned(), |mark| format!("{mark:.2}"));
        let progress = if leg.progress_low == leg.progress_high {
            format!("{:.2}", leg.progress_low)
        } else {
            format!("{:.2}-{:.2}", leg.progress_low, leg.progress_high)
        };
        let ended = match leg.ended_by {
            Some(by) => {
                format!("{} by {}", moment(leg.ended_at), serde_json::json!(by).as_str().unwrap_or_default())
            }
            None => "-".to_owned(),
        };
        lines.push(format!(
            "{:<4} {:<18} {mark:>5} {:<11} {:<18} {:<18} {progress:>9}  {ended}",
            leg.number,
            leg.from.spoken(zone),
            leg.bound.map_or("", model::plan::MarkBound::word),
            moment(leg.reached_at),
            moment(leg.expected_at),
        ));
    }
    lines.extend(decision(season, zone));
    let hours = season.hours;
    lines.push(String::new());
    lines.push(format!(
        "hours: {:.1} observed, {:.1} filled, {:.1} forecast, {:.1} unknown",
        hours.observed, hours.filled, hours.forecast, hours.unknown
    ));
    for note in &season.notes {
        let entry = note.entry.as_deref().map_or_else(String::new, |id| format!(" [{id}]"));
        lines.push(format!("- {}{entry}", note.text));
    }
    lines.push(String::new());
    lines.push(CAUTION.to_owned());
    lines.join("\n")
}
