//! Which clock the times were taken from, and what the times say to it.

use chrono_tz::Tz;
use model::time::zone;

use super::rows::{Row, Sample};
use super::times::Times;
use crate::mapping::WallClock;
use crate::stamp::Stamp;
use crate::station_file::{Moment, moment};
use crate::unit_name::blanks_joined;
use crate::zone_name::offset_named;

/// A clock and how it was told.
pub(super) struct Told {
    pub(super) clock: WallClock,
    pub(super) how: String,
}

/// The clock that the file itself names: in the header of the time, in the
/// times, in a row `below` the names, in a column of its own, or in a line
/// `above`.
pub(super) fn named(
    above: &[&str],
    below: &[Row],
    sample: &Sample<'_>,
    names: &[String],
    times: &Times,
) -> Option<Told> {
    let told = |clock, how: String| Some(Told { clock, how });
    for column in [&times.time].into_iter().chain(&times.dates) {
        let name = names.get(*column).map_or("", String::as_str);
        if let Some(clock) = offset_named(name) {
            return told(clock, format!("header `{name}`"));
        }
    }
    if times.format.contains("UTC") || times.format.contains("GMT") {
        return told(WallClock::Utc, "written in each time".to_owned());
    }
    for row in below {
        if let Some(clock) = offset_named(row.cell(times.time)) {
            return told(clock, format!("line {}, `{}`", row.before + 1, row.cell(times.time)));
        }
    }
    for (column, name) in names.iter().enumerate() {
        let name = name.to_lowercase();
        let of_zone = ["zone", "tz", "utc", "gmt", "offset"].iter().any(|word| name.contains(word));
        let text = sample.rows.first()?.cell(column);
        if of_zone
            && sample.rows.iter().all(|row| row.cell(column) == text)
            && let Some(clock) = WallClock::named(text).ok().or_else(|| offset_named(text))
        {
            return told(clock, format!("column `{name}` says `{text}` in each row"));
        }
    }
    for (n, line) in above.iter().enumerate() {
        let words = line.split(|sign: char| sign.is_whitespace() || "\",;()=".contains(sign));
        let iana = words.filter(|word| word.contains('/')).find_map(|word| zone(word).ok());
        let clock =
            iana.map(WallClock::Zone).or_else(|| offset_named(line).filter(|_| speaks_of_times(line)));
        if let Some(clock) = clock {
            return told(clock, format!("line {}, `{}`", n + 1, short(line)));
        }
    }
    None
}

/// Whether a line is about times as such; one that has a time, as
/// `Exported 10:12 UTC`, says nothing of the others.
fn speaks_of_times(line: &str) -> bool {
    let small = line.to_lowercase();
    let about = ["zone", "time", "zeit", "heure", "hora"].iter().any(|word| small.contains(word));
    let bytes = line.as_bytes();
    let a_clock = (2..bytes.len().saturating_sub(1)).any(|at| {
        let digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
        let signed = at >= 3 && matches!(bytes[at - 3], b'+' | b'-');
        bytes[at] == b':' && digits(&bytes[at - 2..at]) && digits(&bytes[at + 1..=at + 1]) && !signed
    });
    about && !a_clock
}

fn short(line: &str) -> String {
    blanks_joined(line).chars().take(60).collect()
}

/// What the times themselves say to a wall clock with changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Evidence {
    /// This time stands in the file, and the clock was put forward over it.
    Never(String),
    /// The hour that the clock was put back over stands twice.
    Twice,
    /// Nothing.
    None,
}

pub(super) fn evidence(rows: &[Row], times: &Times, zone: Tz) -> Evidence {
    let mut doubled: Vec<i64> = Vec::new();
    for row in rows {
        let Some(Stamp::Local(local)) = times.read(row) else { continue };
        match moment(WallClock::Zone(zone), local) {
            Moment::Once(_) => {}
            Moment::Twice { .. } => doubled.push(local),
            Moment::Never => {
                let wall = chrono::DateTime::from_timestamp(local, 0);
                return Evidence::Never(
                    wall.map_or_else(String::new, |wall| wall.format("%Y-%m-%d %H:%M").to_string()),
                );
            }
        }
    }
    let count = doubled.len();
    doubled.sort_unstable();
    doubled.dedup();
    if count == 2 * doubled.len() && count > 0 { Evidence::Twice } else { Evidence::None }
}

/// Whether people of this zone write the month before the day: those of the
/// United States.
pub(super) fn month_first(zone: Option<Tz>) -> bool {
    const CITIES: [&str; 20] = [
        "America/New_York",
        "America/Detroit",
        "America/Chicago",
        "America/Menominee",
        "America/Denver",
        "America/Boise",
        "America/Phoenix",
        "America/Los_Angeles",
        "America/Anchorage",
        "America/Juneau",
        "America/Sitka",
        "America/Metlakatla",
        "America/Yakutat",
        "America/Nome",
        "America/Adak",
        "America/Louisville",
        "America/Indianapolis",
        "America/Fort_Wayne",
        "America/Shiprock",
        "Pacific/Honolulu",
    ];
    let Some(name) = zone.map(|zone| zone.name()) else { return false };
    CITIES.contains(&name)
        || ["US/", "America/Indiana/", "America/Kentucky/", "America/North_Dakota/"]
            .iter()
            .any(|part| name.starts_with(part))
}
