//! What the readings are: temperature, unit, clock, and what they stand for.

use model::time::{Instant, MINUTE};
use serde_json::json;

use super::super::clocks::{self, Evidence};
use super::super::temperature::{self, Choice, by_values, number, numeric, values};
use super::{Finder, Layout, name, place_of};
use crate::mapping::{LONGEST_INTERVAL_MINUTES, Mapping};
use crate::stamp::Stamp;
use crate::station_file::{self, is_missing};
use crate::unit_name::{bare_unit, unit_named, word};

/// Columns that a message lists at most.
const MOST_LISTED: usize = 8;
/// Texts by which rows of several stations are told apart, at most.
const MOST_STATIONS: usize = 50;

impl Finder {
    pub(super) fn tell_temperature(&mut self, layout: &Layout<'_>) {
        let column = match self.given_text("temperature_column") {
            Some(given) => match place_of(&given, layout.rows, self.lines_by_hand()) {
                Some(column) => column,
                None => {
                    let detail = format!("no column `{given}` was found in the first part of the file");
                    return self.fault("temperature_column", detail);
                }
            },
            None => match self.choose_temperature(layout) {
                Some(column) => column,
                None => return,
            },
        };
        let values = values(&layout.sample, column);
        if values.commas > 0 && values.points > 0 {
            self.doubt(
                "decimal",
                "some temperatures have a comma and some a point; the more frequent was taken",
            );
        }
        if values.commas > values.points {
            self.tell("decimal", json!(","), "temperatures have a comma");
        }
        self.tell_missing(layout, column);
        self.tell_unit(layout, column, &values.sorted);
    }

    fn choose_temperature(&mut self, layout: &Layout<'_>) -> Option<usize> {
        let names = &layout.heading.names;
        let named = |columns: &[usize]| {
            let some: Vec<_> = columns
                .iter()
                .take(MOST_LISTED)
                .map(|column| format!("`{}`", name(&layout.heading, *column)))
                .collect();
            some.join(", ")
        };
        let all = numeric(&layout.sample, &layout.times);
        match temperature::choose(names, &layout.sample, &layout.times) {
            Choice::One(column, equal) => {
                let chosen = name(&layout.heading, column);
                if !equal.is_empty() {
                    self.doubt(
                        "temperature_column",
                        format!(
                            "{} could be the temperature as well as `{chosen}`, which was taken as the first; if it \
                             is another, set `temperature_column`",
                            named(&equal)
                        ),
                    );
                }
                self.tell(
                    "temperature_column",
                    json!(chosen),
                    "its name speaks of the temperature of the air",
                );
                Some(column)
            }
            Choice::None(others) if !others.is_empty() => {
                self.fault(
                    "temperature_column",
                    format!(
                        "could not be told: {} are temperatures of something else than the air about the trees, or \
                         its extremes; give the column by hand if one of them is meant",
                        named(&others)
                    ),
                );
                None
            }
            Choice::None(_) => match all.as_slice() {
                [] => {
                    self.fault(
                        "temperature_column",
                        "could not be told: no column beside the time holds numbers",
                    );
                    None
                }
                [only] => {
                    let chosen = name(&layout.heading, *only);
                    self.doubt(
                        "temperature_column",
                        format!("`{chosen}` was taken because no other column holds numbers; its name does not say"),
                    );
                    self.tell("temperature_column", json!(chosen), "the only column with numbers");
                    Some(*only)
                }
                several => {
                    self.fault(
                        "temperature_column",
                        format!(
                            "could not be told: {} hold numbers and no name speaks of temperature; give the column \
                             by hand",
                            named(several)
                        ),
                    );
                    None
                }
            },
        }
    }

    /// Words that stand again and again where a temperature should.
    fn tell_missing(&mut self, layout: &Layout<'_>, column: usize) {
        let mut marks: Vec<(String, usize)> = Vec::new();
        for row in &layout.sample.rows {
            let cell = row.cell(column);
            if number(cell).is_some() || is_missing(cell) {
                continue;
            }
            if let Some((_, count)) = marks.iter_mut().find(|(mark, _)| mark == cell) {
                *count += 1;
            } else if marks.len() < MOST_LISTED {
                marks.push((cell.to_owned(), 1));
            }
        }
        let again: Vec<String> =
            marks.into_iter().filter(|(_, count)| *count > 1).map(|(mark, _)| mark).collect();
        if !again.is_empty() && self.given("missing").is_none() {
            let listed = again.iter().map(|mark| format!("`{mark}`")).collect::<Vec<_>>().join(", ");
            self.doubt(
                "missing",
                format!("{listed} stands where temperatures should; it was taken for a missing value"),
            );
            self.tell("missing", json!(again), "stands again and again where temperatures should");
        }
    }

    fn tell_unit(&mut self, layout: &Layout<'_>, column: usize, sorted: &[f64]) {
        if self.given("unit").is_some() {
            return;
        }
        let names = &layout.heading.names;
        let own = names.get(column).map_or("", String::as_str);
        let above = layout.text.lines().take(layout.rows[layout.data].before).enumerate();
        if let Some((n, line)) = above.filter(|(_, line)| temperature::in_tenths(line)).last() {
            let line: String = line.chars().take(60).collect();
            return self.fault(
                "unit",
                format!(
                    "line {}, `{line}`: the values seem to be tenths of a degree, which are not read; divide them by \
                     ten, or give `unit` if they are whole degrees",
                    n + 1
                ),
            );
        }
        if let Some(unit) = unit_named(own, names) {
            return self.tell("unit", json!(word(unit)), format!("header `{own}`"));
        }
        for row in &layout.rows[layout.heading.below.min(layout.data)..layout.data] {
            let cell = row.cell(column);
            if let Some(unit) = bare_unit(cell) {
                return self.tell("unit", json!(word(unit)), format!("line {}, `{cell}`", row.before + 1));
            }
        }
        for (n, line) in layout.text.lines().take(layout.heading.lines.skip).enumerate() {
            if let Some(unit) = unit_named(line, &[]).filter(|_| line.to_lowercase().contains("temp")) {
                let line: String = line.chars().take(60).collect();
                self.doubt("unit", format!("{} was taken from line {}, `{line}`", word(unit), n + 1));
                return self.tell("unit", json!(word(unit)), format!("line {}, `{line}`", n + 1));
            }
        }
        let others = names.iter().filter(|name| temperature::fit(name) != temperature::Fit::Nothing);
        let mut others: Vec<_> = others.filter_map(|name| Some((name, unit_named(name, names)?))).collect();
        others.dedup_by_key(|(_, unit)| *unit);
        if let [(name, unit)] = others.as_slice() {
            self.doubt(
                "unit",
                format!("the temperature has no unit; {} was taken as in `{name}`", word(*unit)),
            );
            return self.tell("unit", json!(word(*unit)), format!("header `{name}` of another temperature"));
        }
        match by_values(sorted) {
            Some(unit) => {
                self.doubt(
                    "unit",
                    format!(
                        "the file names no unit; {} was taken because its values fit no other. If it is another, \
                         set `unit`",
                        word(unit)
                    ),
                );
                self.tell("unit", json!(word(unit)), "the values fit no other unit");
            }
            None => self.fault(
                "unit",
                "could not be told: the file names no unit, and the values would fit several or none; give celsius, \
                 fahrenheit or kelvin",
            ),
        }
    }

    pub(super) fn tell_clock(&mut self, layout: &Layout<'_>) {
        let Layout { times, heading, .. } = layout;
        if times.carries_offset || self.given("time_zone").is_some() {
            return;
        }
        let above: Vec<&str> = layout.text.lines().take(heading.lines.skip).collect();
        let below = &layout.rows[heading.below.min(layout.data)..layout.data];
        let named = clocks::named(&above, below, &layout.sample, &heading.names, times);
        if let Some(told) = named {
            return self.tell("time_zone", json!(told.clock.to_string()), told.how);
        }
        let Some(zone) = self.site_zone else {
            return self.fault(
                "time_zone",
                "could not be told: neither the times nor the header name a zone; give UTC, an offset like -05:00 for \
                 a logger that is never put forward, or a zone like America/New_York",
            );
        };
        match clocks::evidence(&layout.rows[layout.data..], times, zone) {
            Evidence::Twice => {
                let how = format!("the zone of the site; the hour in which {zone} was put back stands twice");
                return self.tell("time_zone", json!(zone.name()), how);
            }
            Evidence::Never(wall) => self.doubt(
                "time_zone",
                format!(
                    "the file has {wall}, which the clock of {zone} passed over in spring: its logger seems never to \
                     be put forward. Set `time_zone` to its offset, as -05:00"
                ),
            ),
            Evidence::None => self.doubt(
                "time_zone",
                format!(
                    "the file names no zone; the clock of the site, {zone}, was taken. A logger that is never put \
                     forward has a fixed offset, as -05:00"
                ),
            ),
        }
        self.tell("time_zone", json!(zone.name()), "the zone of the site, for want of another");
    }

    pub(super) fn tell_kind(&mut self, layout: &Layout<'_>) {
        if self.given("kind").is_some() {
            return;
        }
        let column = self.given_text("temperature_column");
        let column = column.and_then(|column| place_of(&column, layout.rows, self.lines_by_hand()));
        let Some(column) = column else { return };
        let header = layout.heading.names.get(column).map_or("", String::as_str).to_lowercase();
        let below = &layout.rows[layout.heading.below.min(layout.data)..layout.data];
        let below = below.iter().map(|row| row.cell(column).to_lowercase()).collect::<Vec<_>>();
        let says = |words: &[&str]| {
            let has_word = |text: &str| {
                text.split(|sign: char| !sign.is_alphanumeric()).any(|part| words.contains(&part))
            };
            has_word(&header) || below.iter().any(|text| has_word(text))
        };
        let minutes = cadence(layout).map(|step| step / MINUTE);
        let minutes = minutes.filter(|minutes| (1..=LONGEST_INTERVAL_MINUTES).contains(minutes));
        let closes_with_24 = self.hour_24(layout);
        match minutes {
            Some(minutes)
                if says(&["avg", "mean", "average", "mittel", "mittelwert", "moyenne", "media"]) =>
            {
                self.doubt(
                    "kind",
                    format!(
                        "the temperatures are means, taken to be over the {minutes} minutes up to each time"
                    ),
                );
                self.tell("kind", json!("mean-ending"), "the header speaks of a mean");
                self.tell("interval_minutes", json!(minutes), "the step between readings");
            }
            Some(minutes) if closes_with_24 => {
                self.doubt(
                    "kind",
                    format!("the day ends with hour 24: the temperatures were taken for means over the {minutes} minutes up to each time"),
                );
                self.tell("kind", json!("mean-ending"), "the day ends with hour 24");
                self.tell("interval_minutes", json!(minutes), "the step between readings");
            }
            _ => {
                if !says(&["smp", "sample", "inst", "instant"]) {
                    self.doubt(
                        "kind",
                        "nothing says whether the temperatures are means; they were taken as of the moment",
                    );
                }
                self.tell("kind", json!("instant"), "nothing speaks of means");
            }
        }
    }

    fn hour_24(&self, layout: &Layout<'_>) -> bool {
        let times = &layout.times;
        layout.rows[layout.data..].iter().any(|row| {
            let time = row.cell(times.time);
            let clock = time.rsplit([' ', 'T']).next().unwrap_or(time);
            clock == "24" || clock.starts_with("24:00") || clock == "2400"
        })
    }

    /// Rows of several stations in one file have each time several times.
    pub(super) fn check_repeats(&mut self, layout: &Layout<'_>) {
        if self.given("where").is_some() {
            return;
        }
        let rows = &layout.rows[layout.data..];
        let mut stamps: Vec<i64> =
            rows.iter().filter_map(|row| layout.times.read(row)).map(Stamp::seconds).collect();
        let count = stamps.len();
        stamps.sort_unstable();
        stamps.dedup();
        // A few may be an hour that stands twice, or rows sent again; two
        // stations make a half.
        if (count - stamps.len()) * 3 < count {
            return;
        }
        for (column, header) in layout.heading.names.iter().enumerate() {
            let mut texts: Vec<&str> = rows.iter().map(|row| row.cell(column)).collect();
            texts.sort_unstable();
            texts.dedup();
            let of_station =
                ["station", "origin", "site", "sensor", "name", "id", "location", "level", "height"];
            let small = header.to_lowercase();
            if of_station.iter().any(|word| small.contains(word))
                && (2..=MOST_STATIONS).contains(&texts.len())
            {
                let listed = texts
                    .iter()
                    .take(MOST_LISTED)
                    .map(|text| format!("`{text}`"))
                    .collect::<Vec<_>>()
                    .join(", ");
                return self.fault(
                    "where",
                    format!("is missing: times stand more than once, and `{header}` has {listed}; say which rows are meant"),
                );
            }
        }
        self.doubt("where", "times stand more than once; of each the last row holds. If these are several sensors, set `where`");
    }

    /// Reads the head as it would be read: what was told must hold there.
    pub(super) fn try_out(&mut self, text: &str, mapping: &Mapping) {
        let plain = Mapping { encoding: encoding_rs::UTF_8, ..mapping.clone() };
        match station_file::read(text.as_bytes(), &plain, Instant::MAX) {
            Ok(file) => {
                let read = file.rows.seen - file.rows.filtered;
                if file.rows.refused * 2 > read {
                    let first = file.refused.first();
                    let (line, reason) = first.map_or((0, ""), |first| (first.line, first.reason.as_str()));
                    self.fault(
                        "",
                        format!(
                            "{} of {read} rows would be refused; the first is line {line}: {reason}. Give by hand what \
                             was told wrong",
                            file.rows.refused
                        ),
                    );
                } else if file.rows.refused > 0 {
                    let first = file.refused.first();
                    let (line, reason) = first.map_or((0, ""), |first| (first.line, first.reason.as_str()));
                    self.doubt(
                        "",
                        format!(
                            "{} rows of the first part would be refused; the first is line {line}: {reason}",
                            file.rows.refused
                        ),
                    );
                }
            }
            Err(fault) => {
                let key = fault.field().unwrap_or("");
                self.fault(key, fault.to_string());
            }
        }
    }
}

/// The median of the steps between rows, seconds.
fn cadence(layout: &Layout<'_>) -> Option<i64> {
    let stamps: Vec<i64> = layout.rows[layout.data..]
        .iter()
        .filter_map(|row| layout.times.read(row))
        .map(Stamp::seconds)
        .collect();
    let mut steps: Vec<i64> =
        stamps.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|step| *step > 0).collect();
    let middle = steps.len() / 2;
    (!steps.is_empty()).then(|| *steps.select_nth_unstable(middle).1)
}
