//! One field, and those that belong together.

use super::{Sent, TICKED};
use crate::words::Words;

/// How a field is filled in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Shape {
    /// One line: the input's type, the keyboard that a telephone shows, and one of the
    /// form's lists of suggestions.
    Line { kind: &'static str, mode: &'static str, list: Option<&'static str> },
    /// Several lines.
    Lines(u8),
    /// One of some, each with its words.
    Choice(Vec<(String, String)>),
    /// Any of some, each with its words.
    Ticks(Vec<(String, String)>),
    /// Yes or no.
    Tick,
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
    /// What stands in it; several where several are ticked.
    pub(crate) values: Vec<String>,
    pub(crate) needed: bool,
    pub(crate) shape: Shape,
    /// What a browser may fill in.
    pub(crate) complete: &'static str,
    pub(crate) wrong: Vec<String>,
    /// What stands there now, where someone else changed it meanwhile.
    pub(crate) now: Option<String>,
    /// Where it stands in the document that is made of the form.
    pub(super) pointer: String,
}

impl Field {
    /// A point in a name parts a field from the one that it stands in.
    fn of(name: &str, label: &str, shape: Shape) -> Field {
        Field {
            name: name.to_owned(),
            label: label.to_owned(),
            hint: String::new(),
            values: Vec::new(),
            needed: false,
            shape,
            complete: "off",
            wrong: Vec::new(),
            now: None,
            pointer: format!("/{}", name.replace('.', "/")),
        }
    }

    fn input(name: &str, label: &str, kind: &'static str, mode: &'static str) -> Field {
        Field::of(name, label, Shape::Line { kind, mode, list: None })
    }

    pub(crate) fn line(name: &str, label: &str) -> Field {
        Field::input(name, label, "text", "text")
    }

    pub(crate) fn number(name: &str, label: &str) -> Field {
        Field::input(name, label, "text", "decimal")
    }

    pub(crate) fn email(name: &str, label: &str) -> Field {
        Field::input(name, label, "email", "email")
    }

    pub(crate) fn date(name: &str, label: &str) -> Field {
        Field::input(name, label, "date", "numeric")
    }

    pub(crate) fn lines(name: &str, label: &str, rows: u8) -> Field {
        Field::of(name, label, Shape::Lines(rows))
    }

    pub(crate) fn choice(name: &str, label: &str, choices: Vec<(String, String)>) -> Field {
        Field::of(name, label, Shape::Choice(choices))
    }

    pub(crate) fn ticks(name: &str, label: &str, choices: Vec<(String, String)>) -> Field {
        Field::of(name, label, Shape::Ticks(choices))
    }

    pub(crate) fn tick(name: &str, label: &str) -> Field {
        Field::of(name, label, Shape::Tick)
    }

    pub(crate) fn file(name: &str, label: &str) -> Field {
        Field::of(name, label, Shape::File)
    }

    pub(crate) fn hidden(name: &str, value: impl Into<String>) -> Field {
        Field::of(name, "", Shape::Hidden).value(value)
    }

    pub(crate) fn hint(self, hint: &str) -> Field {
        Field { hint: hint.to_owned(), ..self }
    }

    pub(crate) fn value(self, value: impl Into<String>) -> Field {
        Field { values: vec![value.into()], ..self }
    }

    pub(crate) fn needed(self) -> Field {
        Field { needed: true, ..self }
    }

    pub(crate) fn complete(self, complete: &'static str) -> Field {
        Field { complete, ..self }
    }

    pub(crate) fn at(self, pointer: impl Into<String>) -> Field {
        Field { pointer: pointer.into(), ..self }
    }

    /// With suggestions from one of the form's lists.
    pub(crate) fn listed(self, id: &'static str) -> Field {
        Field { shape: Shape::Line { kind: "text", mode: "text", list: Some(id) }, ..self }
    }

    pub(crate) fn is_hidden(&self) -> bool {
        self.shape == Shape::Hidden
    }

    /// Whether it says that it may be left empty; a choice always has one that stands.
    pub(crate) fn is_optional(&self) -> bool {
        !self.needed && matches!(self.shape, Shape::Line { .. } | Shape::Lines(_) | Shape::File)
    }

    pub(crate) fn text(&self) -> &str {
        self.values.first().map_or("", String::as_str)
    }

    pub(crate) fn is_on(&self, value: &str) -> bool {
        self.values.iter().any(|on| on == value)
    }

    pub(crate) fn is_ticked(&self) -> bool {
        self.text() == TICKED
    }

    /// What is wrong with it, in whole sentences.
    pub(crate) fn told(&self) -> String {
        self.wrong.iter().map(|detail| whole(detail)).collect::<Vec<_>>().join(" ")
    }

    pub(super) fn fill(&mut self, sent: &Sent) {
        // A box that is not ticked sends nothing.
        if sent.has(&self.name) || matches!(self.shape, Shape::Tick | Shape::Ticks(_)) {
            self.values = sent.all(&self.name).map(str::to_owned).collect();
        }
    }

    /// What stands in it, as people read it.
    pub(super) fn said(&self, words: &Words) -> String {
        let said = match &self.shape {
            Shape::Choice(choices) | Shape::Ticks(choices) => {
                let on = choices.iter().filter(|(value, _)| self.is_on(value));
                on.map(|(_, said)| said.as_str()).collect::<Vec<_>>().join("; ")
            }
            Shape::Tick => {
                words.get(if self.is_ticked() { "settings.yes" } else { "settings.no" }).to_owned()
            }
            _ => self.text().trim().to_owned(),
        };
        if said.is_empty() { words.get("settings.nothing").to_owned() } else { said }
    }
}

/// A sentence from its start to its end.
fn whole(detail: &str) -> String {
    let mut letters = detail.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    let end = if detail.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
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
            let typed = !matches!(field.shape, Shape::Choice(_)) && !field.text().is_empty();
            typed || !field.wrong.is_empty() || field.now.is_some()
        })
    }
}
