//! What a form sent.

use serde::Deserialize;
use serde_json::{Map, Value, json};

/// What a form sent, by the names of its fields; a browser sends empty ones too.
#[derive(Debug, Default, Clone, Deserialize)]
#[serde(transparent)]
pub(crate) struct Sent(Vec<(String, String)>);

impl Sent {
    /// As it was typed; the first of several under one name.
    pub(crate) fn raw(&self, name: &str) -> &str {
        self.all(name).next().unwrap_or_default()
    }

    /// All that was sent under a name.
    pub(crate) fn all<'a>(&'a self, name: &str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// Without blanks at its ends; none when nothing was typed.
    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        Some(self.raw(name).trim()).filter(|text| !text.is_empty())
    }

    /// Whether anything was sent under the name.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.all(name).next().is_some()
    }

    /// Whether a box was ticked.
    pub(crate) fn ticked(&self, name: &str) -> bool {
        self.raw(name) == TICKED
    }

    /// Whether nothing was typed at all.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.iter().all(|(_, value)| value.trim().is_empty())
    }

    /// Sets a field as if it had been typed.
    pub(crate) fn set(&mut self, name: &str, value: impl Into<String>) {
        self.0.retain(|(known, _)| known != name);
        self.add(name, value);
    }

    /// Adds one more to what was sent under a name.
    pub(crate) fn add(&mut self, name: &str, value: impl Into<String>) {
        self.0.push((name.to_owned(), value.into()));
    }

    /// Ticks a box where that is so.
    pub(crate) fn tick(&mut self, name: &str, on: bool) {
        self.set(name, if on { TICKED } else { "" });
    }

    /// A text for a document, or null.
    pub(crate) fn text_value(&self, name: &str) -> Value {
        self.text(name).map_or(Value::Null, Value::from)
    }

    /// A number for a document, or null. What is no number stays the text that it is,
    /// and is refused as such.
    pub(crate) fn number_value(&self, name: &str) -> Value {
        self.text(name).map_or(Value::Null, number)
    }

    /// A document of the texts under these names, those left empty left out.
    pub(crate) fn texts(&self, names: &[&str]) -> Value {
        let given = names.iter().filter_map(|name| Some(((*name).to_owned(), json!(self.text(name)?))));
        Value::Object(given.collect::<Map<String, Value>>())
    }

    /// All that was sent, by name.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The lines of a field, blank ones left out.
    pub(crate) fn lines(&self, name: &str) -> Vec<&str> {
        self.raw(name).lines().map(str::trim).filter(|line| !line.is_empty()).collect()
    }

    /// The names that begin with `start`, with what was typed, the start left out.
    pub(crate) fn under<'a>(&'a self, start: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.0.iter().filter_map(move |(name, text)| {
            let text = text.trim();
            Some((name.strip_prefix(start)?, text)).filter(|_| !text.is_empty())
        })
    }
}

/// What a ticked box sends.
pub(crate) const TICKED: &str = "yes";

impl FromIterator<(String, String)> for Sent {
    fn from_iter<I: IntoIterator<Item = (String, String)>>(pairs: I) -> Sent {
        Sent(pairs.into_iter().collect())
    }
}

/// A number as people type it: with a point, or with a comma for one. A comma before
/// three digits may part thousands; it is asked for again.
pub(crate) fn number(text: &str) -> Value {
    let plain = text.replace('−', "-");
    let thousands = plain.split_once(',').is_some_and(|(_, after)| after.len() == 3);
    let plain = if thousands { plain } else { plain.replacen(',', ".", 1) };
    if let Ok(whole) = plain.parse::<i64>() {
        return json!(whole);
    }
    let number = plain.parse::<f64>().ok().filter(|number| number.is_finite());
    number.map_or_else(|| json!(text), |number| json!(number))
}

/// A number of a document as a field shows it.
pub(crate) fn shown(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Number(number) => number.as_f64().map_or_else(String::new, |number| number.to_string()),
        other => other.to_string(),
    }
}

/// A document without what is null in it.
pub(crate) fn without_nulls(document: Value) -> Value {
    match document {
        Value::Object(fields) => {
            let kept = fields.into_iter().filter(|(_, value)| !value.is_null());
            Value::Object(kept.map(|(name, value)| (name, without_nulls(value))).collect::<Map<_, _>>())
        }
        other => other,
    }
}
