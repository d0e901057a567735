//! The unit that a header names.

use model::units::TemperatureUnit;

/// The word for a unit, as the mapping writes it.
pub(crate) fn word(unit: TemperatureUnit) -> &'static str {
    TemperatureUnit::NAMES
        .into_iter()
        .find(|name| TemperatureUnit::named(name) == Some(unit))
        .expect("every unit has a name")
}

/// Headers come with trailing and doubled blanks; both sides are compared with
/// single ones.
pub(crate) fn blanks_joined(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The unit that a header names beyond doubt: by its word, by a degree sign or
/// `deg`, by a single letter in brackets, or by the ending of `temp_f`. Two
/// units in one header name none.
pub(crate) fn unit_named(name: &str, all: &[String]) -> Option<TemperatureUnit> {
    let name = whole_degrees(name).to_lowercase();
    let units = [
        (TemperatureUnit::Celsius, 'c', "celsius"),
        (TemperatureUnit::Fahrenheit, 'f', "fahrenheit"),
        (TemperatureUnit::Kelvin, 'k', "kelvin"),
    ];
    let mut named = units.into_iter().filter(|(_, letter, word)| {
        name.contains(word)
            || ["°", "º", "° ", "deg", "deg ", "deg_", "deg. ", "grad "]
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

/// The unit that a cell of a row of units names: as in a header, or by its
/// letter alone.
pub(crate) fn bare_unit(cell: &str) -> Option<TemperatureUnit> {
    match cell.trim().trim_matches(['(', ')', '[', ']']) {
        "C" | "c" => Some(TemperatureUnit::Celsius),
        "F" | "f" => Some(TemperatureUnit::Fahrenheit),
        "K" => Some(TemperatureUnit::Kelvin),
        _ => unit_named(cell, &[]),
    }
}

/// A degree sign comes in one piece with its letter, or spoilt by a program
/// that took the file for another encoding. `°F` and `°C` in Latin-1 are `癋` and
/// `癈` in GBK, `蚌` and `蚓` in Big5, `캟` and `캜` in EUC-KR, `ｰF` and `ｰC` in
/// Shift JIS; the sign is `ø` and `¡` where the sets of DOS and of the old
/// Macintosh were taken for Latin-1, and `?` or `\u{FFFD}` where it was lost.
fn whole_degrees(name: &str) -> String {
    let mut whole = String::with_capacity(name.len());
    let mut before = ' ';
    let mut signs = name.chars().peekable();
    while let Some(sign) = signs.next() {
        let at_word = !before.is_alphanumeric();
        match sign {
            '℃' | '癈' | '蚓' | '캜' => whole.push_str("°C"),
            '℉' | '癋' | '蚌' | '캟' => whole.push_str("°F"),
            '?' | '\u{FFFD}' | 'ø' | '¡' | 'ｰ'
                if at_word && signs.peek().is_some_and(|next| "CFcf".contains(*next)) =>
            {
                whole.push('°');
            }
            _ => whole.push(sign),
        }
        before = sign;
    }
    whole
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
        let clear: [(&str, TemperatureUnit); 26] = [
            ("Temp, Â°F", Fahrenheit),
            ("Temp, ?F (LGR S/N: 1)", Fahrenheit),
            ("Temp, \u{FFFD}F", Fahrenheit),
            ("Temp 蚌", Fahrenheit),
            ("Temp 癋", Fahrenheit),
            ("Temp 캟", Fahrenheit),
            ("Temp ｰF", Fahrenheit),
            ("Temp 癈", Celsius),
            ("Temp (℃)", Celsius),
            ("Temp øC", Celsius),
            ("Temp ¡C", Celsius),
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
            ("Temperatur in Grad C", Celsius),
            ("T (K)", Kelvin),
            ("Kelvin", Kelvin),
        ];
        for (header, unit) in clear {
            assert_eq!(named(&[header]), Some(unit), "{header}");
        }
    }

    /// The spoilt signs are what other decoders make of the bytes.
    #[test]
    fn spoilt_degree_signs_are_what_decoders_make() {
        assert_eq!(encoding_rs::GBK.decode(b"\xB0F \xB0C").0, "癋 癈");
        assert_eq!(encoding_rs::BIG5.decode(b"\xB0F \xB0C").0, "蚌 蚓");
        assert_eq!(encoding_rs::EUC_KR.decode(b"\xB0F \xB0C").0, "캟 캜");
        assert_eq!(encoding_rs::SHIFT_JIS.decode(b"\xB0F").0, "ｰF");
        assert_eq!(encoding_rs::WINDOWS_1252.decode("°".as_bytes()).0, "Â°");
        assert_eq!(encoding_rs::WINDOWS_1252.decode(b"\xF8\xA1").0, "ø¡");
        assert_eq!(encoding_rs::IBM866.decode(b"\xF8").0, "°", "as in the other sets of DOS");
        assert_eq!(encoding_rs::MACINTOSH.decode(b"\xA1").0, "°");
    }

    #[test]
    fn a_row_of_units_may_have_the_letter_alone() {
        assert_eq!(bare_unit("C"), Some(TemperatureUnit::Celsius));
        assert_eq!(bare_unit(" [F] "), Some(TemperatureUnit::Fahrenheit));
        assert_eq!(bare_unit("Deg C"), Some(TemperatureUnit::Celsius));
        assert_eq!(bare_unit("degC"), Some(TemperatureUnit::Celsius));
        assert_eq!(bare_unit("Avg"), None);
        assert_eq!(bare_unit("%"), None);
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
