//! The header: where the columns of the mapping stand, and the unit and the
//! zone it names.

use std::io::Read;

use super::fault::{FileFault, Listed};
use super::records::Records;
use crate::mapping::{Mapping, WallClock, number_of};
use crate::unit_name::{bare_unit, blanks_joined, unit_named, word};
use crate::zone_name::offset_named;

/// Places of the columns that are read, from 0.
pub(super) struct Header {
    /// Fields that a row must have: blank ones at the end of the header aside.
    pub(super) columns: usize,
    /// All names, as they stand; none where the file has no header.
    pub(super) names: Vec<String>,
    pub(super) time: usize,
    pub(super) dates: Vec<usize>,
    pub(super) temperature: usize,
    /// In the order of the mapping's `where`.
    pub(super) wanted: Vec<usize>,
}

impl Header {
    /// Passes over what stands before the first reading and finds the columns;
    /// the records then stand at the first reading. None where the file ends
    /// before that.
    pub(super) fn of<R: Read>(
        records: &mut Records<R>,
        mapping: &Mapping,
    ) -> Result<Option<Header>, FileFault> {
        for _ in 0..mapping.skip_lines {
            if !records.skip_line()? {
                return Err(FileFault::Empty);
            }
        }
        if !records.advance()? {
            return Err(FileFault::Empty);
        }
        let line = records.line();
        let mut names = Vec::new();
        if mapping.header_lines == 0 {
            return Header::by_number(records, mapping).map(Some);
        }
        let mut more = true;
        for _ in 0..mapping.header_lines {
            if more {
                add_parts(&mut names, records);
                more = records.advance()?;
            }
        }
        let header = Header::by_name(names, line, mapping)?;
        for _ in 0..mapping.skip_after_header {
            if more {
                header.check_unit_below(records, mapping)?;
                more = records.advance()?;
            }
        }
        Ok(more.then_some(header))
    }

    fn by_name(names: Vec<String>, line: u64, mapping: &Mapping) -> Result<Header, FileFault> {
        let names: Vec<String> = names.iter().map(|name| blanks_joined(name)).collect();
        let find = |field, column: &str| find(&names, line, field, column);
        let several = |field, columns: &mut dyn Iterator<Item = &String>| {
            columns.map(|column| find(field, column)).collect::<Result<Vec<_>, _>>()
        };
        let dates = if mapping.date_columns.len() == 1 { "date_column" } else { "date_columns" };
        let mut header = Header {
            columns: names.iter().rposition(|name| !name.is_empty()).map_or(0, |last| last + 1),
            time: find("time_column", &mapping.time_column)?,
            dates: several(dates, &mut mapping.date_columns.iter())?,
            temperature: find("temperature_column", &mapping.temperature_column)?,
            wanted: several("where", &mut mapping.rows_where.iter().map(|(column, _)| column))?,
            names,
        };
        // A column without a name may be read by its number.
        let used = header.dates.iter().chain(&header.wanted).chain([&header.time, &header.temperature]);
        header.columns = used.fold(header.columns, |columns, place| columns.max(place + 1));
        header.check_unit(line, mapping)?;
        header.check_zone(line, mapping)?;
        Ok(header)
    }

    /// For a file without a header: its first row, at which the records stand,
    /// says how many columns there are.
    fn by_number<R: Read>(records: &Records<R>, mapping: &Mapping) -> Result<Header, FileFault> {
        let columns = records.columns();
        let place = |field, column: &str| match number_of(column) {
            Some(number) if number <= columns => Ok(number - 1),
            _ => Err(FileFault::MissingColumn {
                line: records.line(),
                field,
                column: column.to_owned(),
                found: Listed {
                    texts: (1..=columns.min(10)).map(|n| format!("#{n}")).collect(),
                    more: columns > 10,
                },
                hint: hint(columns, records.field(0)),
            }),
        };
        let dates = mapping.date_columns.iter().map(|column| place("date_columns", column));
        let wanted = mapping.rows_where.iter().map(|(column, _)| place("where", column));
        Ok(Header {
            columns,
            names: Vec::new(),
            time: place("time_column", &mapping.time_column)?,
            dates: dates.collect::<Result<_, _>>()?,
            temperature: place("temperature_column", &mapping.temperature_column)?,
            wanted: wanted.collect::<Result<_, _>>()?,
        })
    }

    fn check_unit(&self, line: u64, mapping: &Mapping) -> Result<(), FileFault> {
        let name = &self.names[self.temperature];
        match unit_named(name, &self.names) {
            Some(named) if named != mapping.unit => Err(FileFault::OtherUnit {
                line,
                column: name.clone(),
                declared: word(mapping.unit),
                named: word(named),
            }),
            _ => Ok(()),
        }
    }

    /// A row of units below the names must not name another one.
    fn check_unit_below<R: Read>(&self, row: &Records<R>, mapping: &Mapping) -> Result<(), FileFault> {
        if self.temperature >= row.columns() {
            return Ok(());
        }
        let cell = String::from_utf8_lossy(row.field(self.temperature));
        match bare_unit(&cell) {
            Some(named) if named != mapping.unit => Err(FileFault::OtherUnit {
                line: row.line(),
                column: self.names[self.temperature].clone(),
                declared: word(mapping.unit),
                named: word(named),
            }),
            _ => Ok(()),
        }
    }

    /// An offset from UTC in the header of the time holds for the whole file.
    fn check_zone(&self, line: u64, mapping: &Mapping) -> Result<(), FileFault> {
        let clock = match mapping.time_zone {
            None => return Ok(()),
            Some(WallClock::Fixed(0)) => WallClock::Utc,
            Some(clock) => clock,
        };
        for column in self.dates.iter().chain([&self.time]) {
            let name = &self.names[*column];
            if let Some(named) = offset_named(name).filter(|named| *named != clock) {
                return Err(FileFault::OtherZone {
                    line,
                    column: name.clone(),
                    declared: clock.to_string(),
                    named: named.to_string(),
                });
            }
        }
        Ok(())
    }
}

/// Adds the parts of one line of the header to those above them.
fn add_parts<R: Read>(names: &mut Vec<String>, row: &Records<R>) {
    names.resize(names.len().max(row.columns()), String::new());
    for (column, name) in names.iter_mut().enumerate().take(row.columns()) {
        name.push(' ');
        name.push_str(&String::from_utf8_lossy(row.field(column)));
    }
}

/// The column of that name; else, where it is `#3`, the third; else the one
/// whose name goes on with a serial number or an offset.
pub(crate) fn find(
    names: &[String],
    line: u64,
    field: &'static str,
    column: &str,
) -> Result<usize, FileFault> {
    let wanted = blanks_joined(column);
    let places = |fits: &dyn Fn(&str) -> bool| {
        (0..names.len()).filter(|place| fits(&names[*place])).take(2).collect::<Vec<_>>()
    };
    let mut found = places(&|name| name == wanted);
    if let (true, Some(number)) = (found.is_empty(), number_of(&wanted)) {
        found.extend((number <= names.len()).then(|| number - 1));
    }
    if found.is_empty() {
        found = places(&|name| name.strip_prefix(wanted.as_str()).is_some_and(is_serial));
    }
    match found.as_slice() {
        [place] => Ok(*place),
        [first, second, ..] => Err(FileFault::ColumnTwice {
            line,
            field,
            column: column.to_owned(),
            first: first + 1,
            second: second + 1,
        }),
        [] => {
            let mut found = Listed::default();
            names.iter().for_each(|name| found.add(name.as_bytes()));
            Err(FileFault::MissingColumn {
                line,
                field,
                column: column.to_owned(),
                found,
                hint: hint(names.len(), names.first().map_or("", String::as_str).as_bytes()),
            })
        }
    }
}

fn hint(columns: usize, first: &[u8]) -> &'static str {
    if columns == 1 && first.iter().any(|byte| b";,\t|".contains(byte)) {
        "; set `delimiter` to the sign that parts the columns"
    } else {
        ""
    }
}

/// Whether what follows a name only says which device, or which offset from
/// UTC: `, °F (LGR S/N: 10679014)`, `, GMT-05:00`.
pub(crate) fn is_serial(behind: &str) -> bool {
    if !behind.trim_start().starts_with([',', '(', '[', ';', '-', '#']) {
        return false;
    }
    let behind = behind.to_lowercase();
    ["s/n", "serial", "sn:", "s.n."].iter().any(|sign| behind.contains(sign))
        || offset_named(&behind).is_some()
}
