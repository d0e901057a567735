//! Forms: what was typed stays in them, and each fault stands beside its field. They
//! work without a script.

use std::collections::BTreeMap;

use api::Undone;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::words::Words;

/// What a form sent, by the names of its fields; a browser sends empty ones too.
#[derive(Debug, Default, Clone, Deserialize)]
#[serde(transparent)]
pub(crate) struct Sent(BTreeMap<String, String>);

impl Sent {
    /// As it was typed.
    pub(crate) fn raw(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    /// Without blanks at its ends; none when nothing was typed.
    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        Some(self.raw(name).trim()).filter(|text| !text.is_empty())
    }

    /// Whether anything was sent under the name.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// Sets a field as if it had been typed.
    pub(crate) fn set(&mut self, name: &str, value: impl Into<String>) {
        self.0.insert(name.to_owned(), value.into());
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

/// How a field is filled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Shape {
    /// One line; `mode` is the keyboard that a telephone shows.
    Line { mode: &'static str, list: Option<&'static str> },
    /// Several lines.
    Lines(u8),
    /// One of some, each with its words.
    Choice(Vec<(String, String)>),
    /// A file.
    File,
    /// Carried along unseen.
    Hidden,
}

/// One field.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) label: String,
    pub(crate) hint: String,
    pub(crate) value: String,
    pub(crate) needed: bool,
    pub(crate) shape: Shape,
    pub(crate) wrong: Vec<String>,
    /// Where it stands in the document that is made of the form.
    pointer: String,
}

impl Field {
    fn of(name: &str, label: &str, shape: Shape) -> Field {
        Field {
            name: name.to_owned(),
            label: label.to_owned(),
            hint: String::new(),
            value: String::new(),
            needed: false,
            shape,
            wrong: Vec::new(),
            pointer: format!("/{name}"),
        }
    }

    pub(crate) fn line(name: &str, label: &str) -> Field {
        Field::of(name, label, Shape::Line { mode: "text", list: None })
    }

    pub(crate) fn number(name: &str, label: &str) -> Field {
        Field::of(name, label, Shape::Line { mode: "decimal", list: None })
    }

    pub(crate) fn lines(name: &str, label: &str, rows: u8) -> Field {
        Field::of(name, label, Shape::Lines(rows))
    }

    pub(crate) fn choice(name: &str, label: &str, choices: Vec<(String, String)>) -> Field {
        Field::of(name, label, Shape::Choice(choices))
    }

    pub(crate) fn file(name: &str, label: &str) -> Field {
        Field::of(name, label, Shape::File)
    }

    pub(crate) fn hidden(name: &str, value: impl Into<String>) -> Field {
        Field { value: value.into(), ..Field::of(name, "", Shape::Hidden) }
    }

    pub(crate) fn hint(self, hint: &str) -> Field {
        Field { hint: hint.to_owned(), ..self }
    }

    pub(crate) fn value(self, value: impl Into<String>) -> Field {
        Field { value: value.into(), ..self }
    }

    pub(crate) fn needed(self) -> Field {
        Field { needed: true, ..self }
    }

    pub(crate) fn at(self, pointer: impl Into<String>) -> Field {
        Field { pointer: pointer.into(), ..self }
    }

    /// With suggestions from one of the form's lists.
    pub(crate) fn listed(self, id: &'static str) -> Field {
        Field { shape: Shape::Line { mode: "text", list: Some(id) }, ..self }
    }

    pub(crate) fn is_hidden(&self) -> bool {
        self.shape == Shape::Hidden
    }

    /// Whether it says that it may be left empty; a choice always has one that stands.
    pub(crate) fn is_optional(&self) -> bool {
        !self.needed && !matches!(self.shape, Shape::Choice(_) | Shape::Hidden)
    }

    /// What describes it, for who hears the page.
    pub(crate) fn described_by(&self) -> String {
        let mut ids = Vec::new();
        if !self.hint.is_empty() {
            ids.push(format!("{}-hint", self.name));
        }
        if !self.wrong.is_empty() {
            ids.push(format!("{}-wrong", self.name));
        }
        ids.join(" ")
    }
}

/// Fields that belong together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Group {
    /// Nothing for fields that need no heading.
    pub(crate) head: String,
    pub(crate) said: Vec<String>,
    pub(crate) fields: Vec<Field>,
    /// Whether it is folded up until it is needed.
    pub(crate) folded: bool,
}

impl Group {
    pub(crate) fn of(fields: Vec<Field>) -> Group {
        Group { fields, ..Group::default() }
    }

    pub(crate) fn headed(head: &str, fields: Vec<Field>) -> Group {
        Group { head: head.to_owned(), ..Group::of(fields) }
    }

    pub(crate) fn saying(mut self, said: &str) -> Group {
        self.said.push(said.to_owned());
        self
    }

    pub(crate) fn folded(self) -> Group {
        Group { folded: true, ..self }
    }

    /// Whether a folded one stands open: something is in it.
    pub(crate) fn is_open(&self) -> bool {
        self.fields.iter().any(|field| {
            let typed = !matches!(field.shape, Shape::Choice(_)) && !field.value.is_empty();
            typed || !field.wrong.is_empty()
        })
    }
}

/// A form.
#[derive(Debug, Clone, Default)]
pub(crate) struct Form {
    pub(crate) groups: Vec<Group>,
    pub(crate) button: String,
    /// Where it is sent; empty for the page's own address.
    pub(crate) action: String,
    /// Whether a file goes with it.
    pub(crate) upload: bool,
    /// Lists of suggestions by id.
    pub(crate) lists: Vec<(&'static str, Vec<String>)>,
    /// What is wrong with no field in particular.
    pub(crate) wrong: Vec<String>,
}

impl Form {
    pub(crate) fn new(button: &str, groups: Vec<Group>) -> Form {
        Form { groups, button: button.to_owned(), ..Form::default() }
    }

    fn fields(&mut self) -> impl Iterator<Item = &mut Field> {
        self.groups.iter_mut().flat_map(|group| group.fields.iter_mut())
    }

    /// With what was sent in its fields.
    pub(crate) fn filled(mut self, sent: &Sent) -> Form {
        for field in self.fields().filter(|field| sent.has(&field.name)) {
            sent.raw(&field.name).clone_into(&mut field.value);
        }
        self
    }

    /// Notes a fault at the field with the pointer, or the one it lies under.
    pub(crate) fn fault(&mut self, pointer: &str, detail: &str) {
        let lies_in = |field: &Field| {
            let rest = pointer.strip_prefix(field.pointer.as_str());
            !field.is_hidden() && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        let nearest = self.fields().filter(|field| lies_in(field)).max_by_key(|field| field.pointer.len());
        match nearest {
            Some(field) => field.wrong.push(detail.to_owned()),
            None => {
                let place = pointer.trim_start_matches('/').replace(['/', '_'], " ");
                let said = if place.is_empty() { detail.to_owned() } else { format!("{place}: {detail}") };
                self.wrong.push(said);
            }
        }
    }

    /// With all that was wrong beside its fields.
    pub(crate) fn refused(mut self, undone: &Undone, words: &Words) -> Form {
        if undone.status == 412 {
            self.wrong.push(words.get("settings.changed_meanwhile").to_owned());
            return self;
        }
        for amiss in &undone.errors {
            self.fault(&amiss.pointer, &amiss.detail);
        }
        if undone.errors.is_empty() {
            self.wrong.push(undone.detail.clone());
        }
        self
    }

    /// The fields that are to be put right, for the list above the form.
    pub(crate) fn faulty(&self) -> Vec<&Field> {
        let fields = self.groups.iter().flat_map(|group| &group.fields);
        fields.filter(|field| !field.wrong.is_empty()).collect()
    }

    /// Whether anything is wrong with it.
    pub(crate) fn is_wrong(&self) -> bool {
        !self.wrong.is_empty() || !self.faulty().is_empty()
    }
}

#[cfg(test)]
mod tests;
