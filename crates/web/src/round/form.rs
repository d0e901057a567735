//! What is typed into the form of a round, as a document and back.

use model::round::MOST_SPRAYERS;
use model::units::{HECTARES_PER_ACRE, LITRES_PER_US_GALLON, us_gallons_per_acre_to_litres_per_hectare};
use serde_json::{Value, json};

use crate::words::Words;

/// Sprayers that an empty form has room for.
const ROOM: usize = 3;

/// What was typed.
#[derive(Debug, Default)]
pub(crate) struct Typed {
    sprayers: Vec<[String; 4]>,
    blocks: Vec<String>,
    pub(crate) us: bool,
    pub(crate) spray: String,
    pub(crate) from: String,
    pub(crate) until: String,
}

/// Fields of a sprayer in the form, and in the document.
const FIELDS: [(&str, &str); 4] =
    [("name", "name"), ("area", "hectares_per_hour"), ("tank", "tank_litres"), ("fill", "fill_minutes")];

/// A sprayer in the form.
pub(crate) struct Sprayer {
    pub(crate) number: usize,
    pub(crate) fields: Vec<Field>,
}

/// One field of it.
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) label: &'static str,
    pub(crate) value: String,
    pub(crate) figure: bool,
    pub(crate) wrong: Option<String>,
}

/// What was wrong, by the field in the form.
#[derive(Debug, Default)]
pub(crate) struct Faults(Vec<(String, String)>);

impl Typed {
    /// From the pairs that a browser sends.
    pub(crate) fn read(sent: Vec<(String, String)>) -> Typed {
        let mut typed = Typed::default();
        for (name, value) in sent {
            match name.as_str() {
                "block" => typed.blocks.push(value),
                "units" => typed.us = value == "us",
                "spray" => typed.spray = value,
                "from" => typed.from = value,
                "until" => typed.until = value,
                other => typed.put(other, value),
            }
        }
        typed
    }

    /// A field of a sprayer, such as `tank-2`.
    fn put(&mut self, name: &str, value: String) {
        let Some((field, row)) = name.split_once('-') else { return };
        let field = FIELDS.iter().position(|(known, _)| *known == field);
        let row = row.parse().ok().filter(|row| *row < MOST_SPRAYERS);
        if let Some((field, row)) = field.zip(row) {
            if self.sprayers.len() <= row {
                self.sprayers.resize(row + 1, Default::default());
            }
            self.sprayers[row][field] = value;
        }
    }

    /// Rows in which something was typed.
    fn filled(&self) -> impl Iterator<Item = (usize, &[String; 4])> {
        let typed = |row: &[String; 4]| row.iter().any(|text| !text.trim().is_empty());
        self.sprayers.iter().enumerate().filter(move |(_, row)| typed(row))
    }

    pub(crate) fn names(&self, block: &str) -> bool {
        self.blocks.iter().any(|named| named == block)
    }

    /// As the API takes it.
    pub(crate) fn document(&self) -> Value {
        let us = |factor: f64| if self.us { factor } else { 1.0 };
        let sprayers: Vec<Value> = self
            .filled()
            .map(|(_, [name, area, tank, fill])| {
                let mut sprayer = json!({});
                put(&mut sprayer, "name", typed(name).map(Value::from));
                put(&mut sprayer, "hectares_per_hour", figure(area, us(HECTARES_PER_ACRE)));
                put(&mut sprayer, "tank_litres", figure(tank, us(LITRES_PER_US_GALLON)));
                put(&mut sprayer, "fill_minutes", figure(fill, 1.0));
                sprayer
            })
            .collect();
        let mut document = json!({"sprayers": sprayers});
        if !self.blocks.is_empty() {
            document["blocks"] = json!(self.blocks);
        }
        let rate = us(us_gallons_per_acre_to_litres_per_hectare(1.0));
        put(&mut document, "litres_per_hectare", figure(&self.spray, rate));
        put(&mut document, "works_from", typed(&self.from).map(Value::from));
        put(&mut document, "works_until", typed(&self.until).map(Value::from));
        document
    }

    /// The rows of the form: those typed into, and room for one more.
    pub(crate) fn sprayers(&self, faults: &Faults) -> Vec<Sprayer> {
        let last = self.filled().map(|(row, _)| row + 2).max().unwrap_or(0);
        let labels = ["round.name", "round.area", "round.tank", "round.fill"];
        (0..last.clamp(ROOM, MOST_SPRAYERS))
            .map(|row| Sprayer {
                number: row + 1,
                fields: FIELDS
                    .iter()
                    .zip(labels)
                    .enumerate()
                    .map(|(n, ((field, _), label))| {
                        let name = format!("{field}-{row}");
                        Field {
                            label,
                            value: self.sprayers.get(row).map(|row| row[n].clone()).unwrap_or_default(),
                            figure: n > 0,
                            wrong: faults.of_field(&name),
                            name,
                        }
                    })
                    .collect(),
            })
            .collect()
    }
}

impl Faults {
    /// From pointers into the document to the fields that they were typed in.
    pub(crate) fn of(wrong: Vec<(String, String)>, typed: &Typed, words: &Words) -> Faults {
        let rows: Vec<usize> = typed.filled().map(|(row, _)| row).collect();
        let field = |pointer: &str| {
            let parts: Vec<&str> = pointer.split('/').skip(1).collect();
            match parts[..] {
                ["sprayers", n, of] => {
                    let row = n.parse().ok().and_then(|n: usize| rows.get(n));
                    let known = FIELDS.iter().find(|(_, field)| *field == of);
                    row.zip(known).map(|(row, (field, _))| format!("{field}-{row}"))
                }
                ["litres_per_hectare"] => Some("spray".to_owned()),
                ["works_from"] => Some("from".to_owned()),
                ["works_until"] => Some("until".to_owned()),
                ["sprayers", ..] => Some("name-0".to_owned()),
                _ => None,
            }
        };
        let metric = |detail: String| match typed.us {
            true => format!("{detail} {}", words.get("round.in_metric")),
            false => detail,
        };
        let told = wrong.into_iter().map(|(pointer, detail)| {
            let place = field(&pointer);
            let detail = if place.is_some() { metric(detail) } else { format!("{pointer}: {detail}") };
            (place.unwrap_or_default(), detail)
        });
        Faults(told.collect())
    }

    pub(crate) fn any(&self) -> bool {
        !self.0.is_empty()
    }

    /// What is wrong with a field; with none of them under an empty name.
    pub(crate) fn of_field(&self, name: &str) -> Option<String> {
        let all: Vec<&str> =
            self.0.iter().filter(|(place, _)| place == name).map(|(_, detail)| detail.as_str()).collect();
        (!all.is_empty()).then(|| format!("{}.", all.join("; ").trim_end_matches('.')))
    }
}

fn typed(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}

/// A figure times a factor, with comma or point; what is none stays as it was typed, so
/// that it is refused by name.
fn figure(text: &str, factor: f64) -> Option<Value> {
    let text = typed(text)?;
    let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite());
    Some(number.map_or_else(|| json!(text), |number| json!(number * factor)))
}

fn put(document: &mut Value, name: &str, value: Option<Value>) {
    if let Some(value) = value {
        document[name] = value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sent(pairs: &[(&str, &str)]) -> Typed {
        Typed::read(pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    #[test]
    fn blank_rows_are_left_out_and_figures_read_with_either_sign() {
        let typed =
            sent(&[("name-0", " "), ("name-1", "Old"), ("area-1", "1,5"), ("tank-1", ""), ("block", "a")]);
        let sprayers = json!([{"name": "Old", "hectares_per_hour": 1.5}]);
        assert_eq!(typed.document(), json!({"sprayers": sprayers, "blocks": ["a"]}));
        assert_eq!(typed.sprayers(&Faults::default()).len(), 3);
        assert_eq!(sent(&[("name-4", "Far")]).sprayers(&Faults::default()).len(), 6);
        assert_eq!(sent(&[("name-50", "Too far"), ("tank", "x")]).document(), json!({"sprayers": []}));
    }

    #[test]
    fn acres_and_gallons_are_turned() {
        // One acre is 0.40468564224 ha, one US gallon 3.785411784 L (published, exact).
        let typed = sent(&[("units", "us"), ("area-0", "1"), ("tank-0", "100"), ("spray", "100")]);
        let document = typed.document();
        assert_eq!(document["sprayers"][0]["hectares_per_hour"], 0.404_685_642_24);
        assert!((document["sprayers"][0]["tank_litres"].as_f64().unwrap() - 378.541_178_4).abs() < 1e-9);
        assert!((document["litres_per_hectare"].as_f64().unwrap() - 935.396).abs() < 1e-3);
    }
}
