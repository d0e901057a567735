//! The header: where the columns of the mapping stand, and the unit it names.

use std::io::Read;

use model::units::TemperatureUnit;

use super::fault::{FileFault, Listed};
use super::records::Records;
use crate::mapping::Mapping;

/// Places of the columns that are read, from 0.
pub(super) struct Header {
    pub(super) columns: usize,
    pub(super) time: usize,
    pub(super) date: Option<usize>,
    pub(super) temperature: usize,
    /// In the order of the mapping's `where`.
    pub(super) wanted: Vec<usize>,
}

impl Header {
    /// Finds the columns in the first record.
    pub(super) fn of<R: Read>(records: &Records<R>, mapping: &Mapping) -> Result<Header, FileFault> {
        let names: Vec<String> = (0..records.columns())
            .map(|column| blanks_joined(&String::from_utf8_lossy(records.field(column))))
            .collect();
        let find = |field, column: &str| find(&names, field, column);
        let header = Header {
            columns: names.len(),
            time: find("time_column", &mapping.time_column)?,
            date: mapping.date_column.as_deref().map(|column| find("date_column", column)).transpose()?,
            temperature: find("temperature_column", &mapping.temperature_column)?,
            wanted: mapping
                .rows_where
                .iter()
                .map(|(column, _)| find("where", column))
                .collect::<Result<_, _>>()?,
        };
        match unit_named(&names[header.temperature], &names) {
            Some(named) if named != mapping.unit => Err(FileFault::OtherUnit {
                column: names[header.temperature].clone(),
                declared: word(mapping.unit),
                named: word(named),
            }),
            _ => Ok(header),
        }
    }
}

/// Headers come with trailing and doubled blanks; both sides are compared with
/// single ones.
fn blanks_joined(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn find(names: &[String], field: &'static str, column: &str) -> Result<usize, FileFault> {
    let wanted = blanks_joined(column);
    let mut places = (0..names.len()).filter(|place| names[*place] == wanted);
    let Some(first) = places.next() else {
        let mut found = Listed::default();
        names.iter().for_each(|name| found.add(name.as_bytes()));
        let parted_otherwise = names.len() == 1 && names[0].contains([';', ',', '\t', '|']);
        return Err(FileFault::MissingColumn {
            field,
            column: column.to_owned(),
            found,
            hint: if parted_otherwise { "; set `delimiter` to the sign that parts the columns" } else { "" },
        });
    };
    match places.next() {
        None => Ok(first),
        Some(second) => Err(FileFault::ColumnTwice {
            field,
            column: column.to_owned(),
            first: first + 1,
            second: second + 1,
        }),
    }
}

/// The word for a unit, as the mapping writes it.
pub(super) fn word(unit: TemperatureUnit) -> &'static str {
    TemperatureUnit::NAMES
        .into_iter()
        .find(|name| TemperatureUnit::named(name) == Some(unit))
        .expect("every unit has a name")
}

/// The unit that a header names beyond doubt: by its word, by a degree sign or
/// `deg`, by a single letter in brackets, or by the ending of `temp_f`. Two
/// units in one header name none.
fn unit_named(name: &str, all: &[String]) -> Option<TemperatureUnit> {
    let name = name.to_lowercase();
    let units = [
        (TemperatureUnit::Celsius, 'c', "celsius"),
        (TemperatureUnit::Fahrenheit, 'f', "fahrenheit"),
        (TemperatureUnit::Kelvin, 'k', "kelvin"),
    ];
    let mut named = units.into_iter().filter(|(_, letter, word)| {
        name.contains(word)
            || ["°", "º", "° ", "deg", "deg ", "deg_", "deg. "]
                .iter()
                .any(|sign| has_word(&name, &format!("{sign}{letter}")))
            || [('(', ')'), ('[', ']'), ('{', '}')]
                .iter()
                .any(|(open, close)| name.contains(&format!("{open}{letter}{close}")))
            || ends_in_letter(&name, *letter, all)
    });
    let first = named.next()?;
    named.next().is_none().then_some(first.0)
}

/// Whether `part` stands in `name` with no letter behind it: `°c`, not `°cal`.
fn has_word(name: &str, part: &str) -> bool {
    name.match_indices(part).any(|(at, _)| !name[at + part.len()..].starts_with(char::is_alphanumeric))
}

/// Whether a header is a word for temperature and the letter of a unit, as
/// `temp_f` or `tmpf`, and does not number sensors by letters, as `temp_a`,
/// `temp_b`, `temp_c` do.
fn ends_in_letter(name: &str, letter: char, all: &[String]) -> bool {
    let Some(stem) = name.strip_suffix(letter) else {
        return false;
    };
    let of_temperature =
        ["temp", "tmp", "temperature", "air_temp", "airtemp", "air_temperature", "temp_out", "outtemp"];
    let parted = stem.trim_end_matches(['_', ' ', '-']);
    if !of_temperature.contains(&parted) {
        return false;
    }
    !all.iter().any(|other| {
        let other = other.to_lowercase();
        let behind = other.strip_prefix(stem).map(str::as_bytes);
        matches!(behind, Some([sensor]) if sensor.is_ascii_lowercase() && !b"cfk".contains(sensor))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(header: &[&str]) -> Option<TemperatureUnit> {
        let all: Vec<String> = header.iter().map(|name| blanks_joined(name)).collect();
        unit_named(&all[0], &all)
    }

    #[test]
    fn clear_units_are_seen() {
        use TemperatureUnit::*;
        let clear: [(&str, TemperatureUnit); 14] = [
            ("Temp, °F", Fahrenheit),
            ("Temp - °F", Fahrenheit),
            ("K-Type, °F (LGR S/N: 10679014, SEN S/N: 10679014)", Fahrenheit),
            ("temp_f", Fahrenheit),
            ("tmpf", Fahrenheit),
            ("Temperature [F]", Fahrenheit),
            ("air temperature (degC)", Celsius),
            ("AirTC_Avg deg C", Celsius),
            ("Temp ( °C )", Celsius),
            ("temp_c", Celsius),
            ("tmpc", Celsius),
            ("Temperature in Celsius", Celsius),
            ("T (K)", Kelvin),
            ("Kelvin", Kelvin),
        ];
        for (header, unit) in clear {
            assert_eq!(named(&[header]), Some(unit), "{header}");
        }
    }

    #[test]
    fn doubtful_ones_are_not() {
        for header in
            ["temp", "T_leaf", "temp roof", "TT_TU", "tempc1", "deg. of frost", "°cal", "temp °C / °F"]
        {
            assert_eq!(named(&[header]), None, "{header}");
        }
        assert_eq!(named(&["temp_c", "temp_a", "temp_b"]), None, "sensors by letter");
        assert_eq!(named(&["temp_c", "temp_f"]), Some(TemperatureUnit::Celsius));
    }
}
