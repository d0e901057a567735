//! What was typed into a form, as an entry.

use std::collections::BTreeMap;

use chrono::{NaiveDateTime, Timelike};
use chrono_tz::Tz;
use model::time::Instant;
use serde_json::{Map, Value, json};

use super::forms::{As, Form};
use crate::words::Words;

/// Fields as they were typed, by name.
pub(crate) type Typed = BTreeMap<String, String>;

/// A piece that could not be read, with the pointer of its field.
pub(crate) type Unread = (Option<String>, String);

/// The fields of a form as an entry has them, laid over what stood there before: what
/// was emptied is gone.
pub(crate) fn fields(
    form: &Form,
    typed: &Typed,
    zone: Tz,
    before: Map<String, Value>,
    words: &Words,
) -> Result<Map<String, Value>, Vec<Unread>> {
    let mut entry = before;
    let mut unread = Vec::new();
    for field in form.fields.iter().filter(|field| field.typed != As::Entry || form.kind == "withdrawal") {
        let text = typed.get(field.name).map(|text| text.trim()).unwrap_or_default();
        if text.is_empty() {
            // The rest of a spray only adds: what is left empty there stays as recorded.
            if form.what != "spray-rest" {
                entry.remove(field.name);
            }
            continue;
        }
        match value(field.typed, text, zone, words) {
            Ok(value) => {
                entry.insert(field.name.to_owned(), value);
            }
            Err(why) => unread.push((Some(format!("/{}", field.name)), why)),
        }
    }
    if unread.is_empty() { Ok(entry) } else { Err(unread) }
}

fn value(typed: As, text: &str, zone: Tz, words: &Words) -> Result<Value, String> {
    let whole = |text: &str| whole(text, words);
    let decimal = |text: &str| decimal(text, words);
    Ok(match typed {
        As::Counts | As::Wholes => Value::from(pieces(text).map(whole).collect::<Result<Vec<_>, _>>()?),
        As::Decimals => Value::from(pieces(text).map(decimal).collect::<Result<Vec<_>, _>>()?),
        As::Whole => Value::from(whole(text)?),
        As::Decimal => Value::from(decimal(text)?),
        As::Percent => Value::from(decimal(text.trim_end_matches('%').trim_end())? / 100.0),
        As::Moment => json!(moment(text, zone, words)?),
        As::Either(..) => Value::from(text == "true"),
        As::Text | As::Long | As::Date | As::Material | As::One(_) | As::Entry => Value::from(text),
    })
}

/// Numbers parted by blanks, lines or semicolons; a comma before one of those parts too.
fn pieces(text: &str) -> impl Iterator<Item = &str> {
    let parts = text.split(|sign: char| sign.is_whitespace() || sign == ';');
    parts.map(|part| part.trim_end_matches(',')).filter(|part| !part.is_empty())
}

fn whole(text: &str, words: &Words) -> Result<i64, String> {
    text.parse().map_err(|_| words.fill("log.no_whole", &[("typed", &text)]))
}

fn decimal(text: &str, words: &Words) -> Result<f64, String> {
    let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
    number.ok_or_else(|| words.fill("log.no_number", &[("typed", &text)]))
}

/// A moment of the wall clock, as browsers send it, or RFC 3339.
pub(crate) fn moment(text: &str, zone: Tz, words: &Words) -> Result<Instant, String> {
    let wall = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"];
    let wall = wall.iter().find_map(|form| NaiveDateTime::parse_from_str(text, form).ok());
    let at = wall.map(|wall| Instant::on_wall(wall, zone)).or_else(|| Instant::parse(text).ok());
    at.ok_or_else(|| words.fill("log.no_time", &[("typed", &text)]))
}

/// A moment as the form has it.
pub(crate) fn on_wall(at: Instant, zone: Tz) -> String {
    let wall = at.utc().with_timezone(&zone).naive_local();
    let form = if wall.second() == 0 { "%Y-%m-%dT%H:%M" } else { "%Y-%m-%dT%H:%M:%S" };
    wall.format(form).to_string()
}

/// An entry's field as it would be typed.
pub(crate) fn shown(typed: As, value: &Value, zone: Tz) -> String {
    let plain = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    match (typed, value) {
        (_, Value::Null) => String::new(),
        (_, Value::Array(all)) => all.iter().map(plain).collect::<Vec<_>>().join(" "),
        (As::Percent, value) => value.as_f64().map_or_else(
            || plain(value),
            |share| {
                let hundred = (share * 1e6).round() / 1e4;
                hundred.to_string()
            },
        ),
        (As::Moment, Value::String(text)) => {
            Instant::parse(text).map_or(text.clone(), |at| on_wall(at, zone))
        }
        (_, value) => plain(value),
    }
}

#[cfg(test)]
mod tests {
    use super::super::forms::named;
    use super::*;
    use crate::words::english;

    fn read(what: &str, typed: &[(&str, &str)]) -> Result<Value, Vec<Unread>> {
        let typed = typed.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
        let zone = chrono_tz::America::New_York;
        fields(named(what).unwrap(), &typed, zone, Map::new(), english()).map(Value::Object)
    }

    #[test]
    fn numbers_are_parted_by_blanks_lines_and_semicolons() {
        let counted = read("open-count", &[("open_per_tree", " 41 66;58\r\n47, 73 ")]).unwrap();
        assert_eq!(counted["open_per_tree"], json!([41, 66, 58, 47, 73]));
        let wrong = read("open-count", &[("open_per_tree", "41,66")]).unwrap_err();
        assert_eq!(wrong[0].0.as_deref(), Some("/open_per_tree"));
        assert!(wrong[0].1.contains("41,66"), "{wrong:?}");
    }

    #[test]
    fn comma_and_point_are_the_same() {
        let lengths = read("style-length", &[("lengths_mm", "8,5 9.25;8")]).unwrap();
        assert_eq!(lengths["lengths_mm"], json!([8.5, 9.25, 8.0]));
        assert_eq!(read("return-bloom", &[("share_of_buds", "62,5 %")]).unwrap()["share_of_buds"], 0.625);
        assert!(read("style-length", &[("lengths_mm", "nan")]).is_err());
    }

    #[test]
    fn a_moment_is_on_the_blocks_wall_clock() {
        let zone = chrono_tz::America::New_York;
        let at = moment("2013-05-01T20:20", zone, english()).unwrap();
        assert_eq!(at.to_string(), "2013-05-02T00:20:00Z");
        assert_eq!(on_wall(at, zone), "2013-05-01T20:20");
        assert!(moment("tomorrow", zone, english()).unwrap_err().contains("tomorrow"));
    }
}
