//! One thing told after another, each from those before it.

mod reading;

use chrono_tz::Tz;
use model::input::{Fault, Faults, read};
use serde_json::{Map, Value, json};

use super::clocks;
use super::header::{Heading, Lines};
use super::rows::{self, Row, Sample, rows, sample};
use super::times::{self, DayAndMonth, Known, Times};
use super::{Doubt, Recognised, Told, Unrecognised, text};
use crate::mapping::{Delimiter, Mapping, number_of};
use crate::station_file::{find_column, is_serial};
use crate::unit_name::blanks_joined;
use crate::zone_name::offset_named;

/// Signs that may part columns, the rarer in numbers and texts first.
const SIGNS: [(u8, &str); 4] =
    [(b'\t', "tabs"), (b';', "semicolons"), (b'|', "upright strokes"), (b',', "commas")];
/// Share of rows that must have the same number of fields.
const ALIKE: f64 = 0.6;
/// The same where blanks part them: an empty cell there shifts the others.
const ALIKE_BY_BLANKS: f64 = 0.95;

/// What has been told so far.
pub(super) struct Finder {
    table: Map<String, Value>,
    site_zone: Option<Tz>,
    told: Vec<Told>,
    doubts: Vec<Doubt>,
    faults: Vec<Fault>,
}

/// The rows of a file and where its times stand.
struct Layout<'a> {
    text: &'a str,
    rows: &'a [Row],
    sample: Sample<'a>,
    times: Times,
    heading: Heading,
    /// Where the first reading stands among the rows.
    data: usize,
}

impl Finder {
    pub(super) fn new(by_hand: &Value, site_zone: Option<Tz>) -> Finder {
        let mut finder =
            Finder { table: Map::new(), site_zone, told: Vec::new(), doubts: Vec::new(), faults: Vec::new() };
        match by_hand {
            Value::Object(table) => finder.table = table.clone(),
            Value::Null => {}
            _ => finder.fault("", "what is given by hand must be a table of a mapping's keys"),
        }
        finder.table.retain(|_, value| !value.is_null());
        finder
    }

    pub(super) fn run(mut self, head: &[u8], cut: bool) -> Result<Recognised, Box<Unrecognised>> {
        let text = self.text(head, cut);
        if text.trim().is_empty() {
            self.fault("", "the file is empty; expected a header line and rows below it");
            return Err(self.unrecognised());
        }
        self.layout(&text);
        if !self.faults.is_empty() {
            return Err(self.unrecognised());
        }
        let mapping = match read(&Value::Object(self.table.clone()), Mapping::from_fields) {
            Ok(mapping) => mapping,
            Err(Faults(faults)) => {
                self.faults = faults;
                return Err(self.unrecognised());
            }
        };
        self.try_out(&text, &mapping);
        if self.faults.is_empty() {
            Ok(Recognised { mapping, told: self.told, doubts: self.doubts })
        } else {
            Err(self.unrecognised())
        }
    }

    fn unrecognised(self) -> Box<Unrecognised> {
        Box::new(Unrecognised {
            faults: Faults(self.faults),
            told: self.told,
            doubts: self.doubts,
            table: Value::Object(self.table),
        })
    }

    fn given(&self, key: &str) -> Option<&Value> {
        self.table.get(key)
    }

    fn given_text(&self, key: &str) -> Option<String> {
        self.given(key).and_then(Value::as_str).map(str::to_owned)
    }

    /// Notes what was told, unless it was given by hand.
    fn tell(&mut self, key: &'static str, value: Value, how: impl Into<String>) {
        if self.table.contains_key(key) {
            return;
        }
        self.table.insert(key.to_owned(), value.clone());
        self.told.push(Told { key, value, how: how.into() });
    }

    fn doubt(&mut self, key: &'static str, detail: impl Into<String>) {
        self.doubts.push(Doubt { key, detail: detail.into() });
    }

    fn fault(&mut self, key: &str, detail: impl Into<String>) {
        let pointer = if key.is_empty() { String::new() } else { format!("/{key}") };
        self.faults.push(Fault { pointer, detail: detail.into() });
    }

    fn text(&mut self, head: &[u8], cut: bool) -> String {
        let label = self.given_text("encoding");
        let given = label.and_then(|label| encoding_rs::Encoding::for_label_no_replacement(label.as_bytes()));
        if let Some(encoding) = given {
            return text::decoded(head, encoding, cut);
        }
        let told = text::encoding(head);
        self.tell("encoding", json!(told.encoding.name().to_ascii_lowercase()), told.how);
        if let Some(doubt) = told.doubt {
            self.doubt("encoding", doubt);
        }
        text::decoded(head, told.encoding, cut)
    }

    /// Tells everything from the text.
    fn layout(&mut self, text: &str) {
        let ways = self.ways(text);
        let mut widest = 0;
        let (mut missing, mut known_columns) = (None, false);
        for (delimiter, key, value, how) in ways {
            let rows = rows(text, &delimiter);
            let Some(sample) = sample(&rows) else { continue };
            let by_hand = how.is_empty();
            let least = if delimiter == Delimiter::Blanks { ALIKE_BY_BLANKS } else { ALIKE };
            if !by_hand && (sample.width < 2 || sample.share < least) {
                continue;
            }
            widest = widest.max(sample.width);
            let lines = self.lines_by_hand();
            let known = match self.known(&rows, lines) {
                Ok(known) => known,
                // Another way of parting may have the columns given.
                Err((key, detail)) => {
                    missing.get_or_insert((key, detail));
                    continue;
                }
            };
            known_columns = true;
            let exact = delimiter == Delimiter::Blanks;
            let Some((times, heading, data)) = times_and_header(&rows, &sample, known, lines, exact) else {
                continue;
            };
            if !by_hand {
                self.tell(key, value, how);
            }
            let sample = sample.spread(&rows[data..]);
            let layout = Layout { text, rows: &rows, sample, times, heading, data };
            return self.columns(&layout);
        }
        match missing {
            Some((key, detail)) if !known_columns => self.fault(key, detail),
            _ => self.no_times(widest),
        }
    }

    fn no_times(&mut self, widest: usize) {
        if widest < 2 && self.given("delimiter").is_none() && self.given("columns").is_none() {
            self.fault(
                "delimiter",
                "could not be told: the rows have no common number of columns by tabs, semicolons, strokes, commas \
                 or blanks; give `delimiter`, or `columns` with the place of each in the line",
            );
            return;
        }
        match self.given_text("time_column") {
            Some(column) => self.fault(
                "time_format",
                format!("could not be told: most rows have no date and time in `{column}`; give `time_column`, `date_column` and `time_format`"),
            ),
            None => self.fault(
                "time_column",
                "could not be told: no column, and no columns together, hold a date with a time of day in nine of \
                 ten rows; give `time_column`, `date_column` and `time_format`",
            ),
        }
    }

    /// Ways to part the columns, the likelier first: how the mapping writes
    /// them, and how each is called; blank where it was given by hand.
    fn ways(&self, text: &str) -> Vec<(Delimiter, &'static str, Value, String)> {
        if self.given("delimiter").is_some() || self.given("columns").is_some() {
            // The whole table is not there yet; a plain one around the key is.
            let mut table = json!({
                "time_column": "#1", "temperature_column": "#2", "unit": "celsius", "kind": "instant",
            });
            for key in ["delimiter", "columns"] {
                if let Some(value) = self.given(key) {
                    table[key] = value.clone();
                }
            }
            let given = read(&table, Mapping::from_fields).ok().map(|mapping| mapping.delimiter);
            return given.map(|way| (way, "delimiter", Value::Null, String::new())).into_iter().collect();
        }
        let mut ways: Vec<_> = SIGNS
            .into_iter()
            .filter(|(sign, _)| text.as_bytes().contains(sign))
            .map(|(sign, name)| {
                let way = json!(char::from(sign).to_string());
                (Delimiter::Sign(sign), "delimiter", way, format!("{name} part the same number of columns"))
            })
            .collect();
        let blanks = "runs of blanks part the same number of columns".to_owned();
        ways.push((Delimiter::Blanks, "delimiter", json!("blanks"), blanks));
        if let Some(Delimiter::Places(places)) = rows::places(text) {
            let value = json!(places);
            let how = "the columns stand below one another".to_owned();
            ways.push((Delimiter::Places(places), "columns", value, how));
        }
        ways
    }

    /// The lines round the header, where any of them was given.
    fn lines_by_hand(&self) -> Option<Lines> {
        let number = |key| self.given(key).and_then(Value::as_u64).map(|count| count as usize);
        let (skip, header, after) =
            (number("skip_lines"), number("header_lines"), number("skip_after_header"));
        (skip.is_some() || header.is_some() || after.is_some()).then(|| Lines {
            skip: skip.unwrap_or(0),
            header: header.unwrap_or(1),
            after: after.unwrap_or(0),
        })
    }

    /// What was given of the time, its columns by their places.
    fn known(&self, rows: &[Row], lines: Option<Lines>) -> Result<Known, (&'static str, String)> {
        let place = |key: &'static str, column: &str| {
            place_of(column, rows, lines)
                .ok_or_else(|| (key, format!("no column `{column}` was found in the first part of the file")))
        };
        let mut dates = Vec::new();
        if let Some(column) = self.given_text("date_column") {
            dates.push(place("date_column", &column)?);
        }
        for column in self.given("date_columns").and_then(Value::as_array).into_iter().flatten() {
            dates.push(place("date_columns", column.as_str().unwrap_or(""))?);
        }
        let columns = match self.given_text("time_column") {
            Some(column) => Some((dates, place("time_column", &column)?)),
            None if dates.is_empty() => None,
            None => {
                return Err((
                    "time_column",
                    "is missing; `date_column` needs the column with the time".to_owned(),
                ));
            }
        };
        Ok(Known {
            columns,
            format: self.given_text("time_format"),
            month_first: clocks::month_first(self.site_zone),
        })
    }

    /// Tells what the columns are, and what they hold.
    fn columns(&mut self, layout: &Layout<'_>) {
        self.tell_lines(&layout.heading);
        self.tell_times(layout);
        self.tell_temperature(layout);
        self.tell_clock(layout);
        self.tell_kind(layout);
        self.check_repeats(layout);
    }

    fn tell_lines(&mut self, heading: &Heading) {
        if self.lines_by_hand().is_some() {
            return;
        }
        let Lines { skip, header, after } = heading.lines;
        let how = match header {
            0 => "the readings begin without names above them".to_owned(),
            1 => format!("names stand on line {}", heading.line),
            _ => format!("names stand in {header} parts from line {}", heading.line),
        };
        if skip > 0 {
            self.tell("skip_lines", json!(skip), how.clone());
        }
        if header != 1 {
            self.tell("header_lines", json!(header), how.clone());
        }
        if after > 0 {
            self.tell(
                "skip_after_header",
                json!(after),
                format!("{how}, and the readings begin {after} rows below"),
            );
        }
    }

    fn tell_times(&mut self, layout: &Layout<'_>) {
        let Layout { heading, times, .. } = layout;
        if times.dates.is_empty() {
            self.tell("time_column", json!(name(heading, times.time)), "reads as date and time in most rows");
        } else if self.given("time_column").is_none() {
            let dates: Vec<String> = times.dates.iter().map(|column| name(heading, *column)).collect();
            match dates.as_slice() {
                [one] => self.tell("date_column", json!(one), "reads as a date in most rows"),
                several => {
                    self.tell("date_columns", json!(several), "read as the parts of a date in most rows")
                }
            }
            self.tell("time_column", json!(name(heading, times.time)), "reads as the time of day with it");
        }
        if !times.also.is_empty() {
            let others: Vec<String> =
                times.also.iter().map(|column| format!("`{}`", name(heading, *column))).collect();
            let taken = name(heading, times.time);
            self.doubt(
                "time_column",
                format!("{} hold times as well; `{taken}` was taken", others.join(", ")),
            );
        }
        let how = match times.day_and_month {
            DayAndMonth::Clear => "fits the rows",
            DayAndMonth::ByDay => "fits the rows; a day after the twelfth tells it from the month",
            DayAndMonth::ByOrder => "fits the rows; the times follow one another only with day and month so",
            DayAndMonth::Open => "fits the rows, day and month perhaps the other way round",
        };
        if times.day_and_month == DayAndMonth::Open && self.given("time_format").is_none() {
            let first = times.format.chars().nth(1).map_or("day", |sign| match sign {
                'm' => "month",
                'y' => "year",
                _ => "day",
            });
            self.doubt(
                "time_format",
                format!(
                    "no row tells the day from the month; the {first} was taken to stand first, `{}`. If it does \
                     not, set `time_format`",
                    times.format
                ),
            );
        }
        self.tell("time_format", json!(times.format), how);
    }
}

/// The times, the header, and where the first reading stands among the rows;
/// `exact` where there must be as many names as columns.
fn times_and_header(
    rows: &[Row],
    sample: &Sample<'_>,
    mut known: Known,
    lines: Option<Lines>,
    exact: bool,
) -> Option<(Times, Heading, usize)> {
    let mut found = None;
    // Twice at most: once the names are there, one of several times may turn
    // out to be the one that says its zone.
    while let Some(times) = times::find(sample, rows, &known) {
        let times = times::over_all(times, rows, sample.width, &known);
        let Some(data) = first_reading(rows, &times, sample.width) else { break };
        let heading = match lines {
            Some(lines) => Heading::by_hand(rows, lines),
            None => Heading::find(rows, data, sample, &times, exact),
        };
        let says_zone =
            |column: &usize| heading.names.get(*column).is_some_and(|name| offset_named(name).is_some());
        let better = times.also.iter().find(|column| says_zone(column) && !says_zone(&times.time));
        known.columns = better.map(|column| (Vec::new(), *column));
        found = Some((times, heading, data));
        if known.columns.is_none() {
            break;
        }
    }
    found
}

/// Where a column given by hand stands: by its number, or below its name.
fn place_of(column: &str, rows: &[Row], lines: Option<Lines>) -> Option<usize> {
    let wanted = blanks_joined(column);
    let named = |names: &[String]| find_column(names, 0, "", &wanted).ok();
    let in_header = match lines {
        Some(lines) => named(&Heading::by_hand(rows, lines).names),
        None => {
            let is_it = |cell: &String| {
                let cell = blanks_joined(cell);
                cell == wanted || cell.strip_prefix(wanted.as_str()).is_some_and(is_serial)
            };
            rows.iter().find_map(|row| row.cells.iter().position(is_it))
        }
    };
    in_header.or_else(|| number_of(&wanted).map(|number| number - 1))
}

/// The first row that reads as a time and has as many fields as the others.
fn first_reading(rows: &[Row], times: &Times, width: usize) -> Option<usize> {
    rows.iter().position(|row| row.cells.len().abs_diff(width) <= 1 && times.read(row).is_some())
}

/// A column as a mapping names it: by its header without serial numbers, where
/// no other has the same; else by its number.
fn name(heading: &Heading, column: usize) -> String {
    let names = &heading.names;
    let is_it =
        |name: &str| !name.is_empty() && find_column(names, 0, "", name).is_ok_and(|found| found == column);
    let full = names.get(column).map_or("", String::as_str);
    let short = ["(", "[", ","].into_iter().filter_map(|sign| full.find(sign)).map(|end| {
        let (short, behind) = full.split_at(end);
        let numbered = behind.bytes().any(|byte| byte.is_ascii_digit());
        (numbered && is_serial(behind)).then(|| short.trim_end().to_owned())
    });
    let short = short.flatten().max_by_key(String::len).filter(|short| is_it(short));
    match short {
        Some(short) => short,
        None if is_it(full) => full.to_owned(),
        None => format!("#{}", column + 1),
    }
}
