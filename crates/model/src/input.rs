//! Reading what people and programs write, with every fault named at its place.
//!
//! The season file, the API and the import all come through here: TOML and
//! JSON alike are taken as a [`serde_json::Value`], each field is asked for by
//! name, and what is wrong is collected rather than stopped at. A pointer is
//! an RFC 6901 JSON pointer.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::rc::Rc;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::time::Instant;

/// Something wrong at one place of the input.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// RFC 6901 pointer to the field, as `/log/3/open_per_tree/1`.
    pub pointer: String,
    /// What is wrong, and what was expected.
    pub detail: String,
}

/// Everything wrong with an input, in the order it was found.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct Faults(pub Vec<Fault>);

impl std::fmt::Display for Faults {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (n, fault) in self.0.iter().enumerate() {
            if n > 0 {
                f.write_str("\n")?;
            }
            let place = if fault.pointer.is_empty() { "/" } else { &fault.pointer };
            write!(f, "{place}: {}", fault.detail)?;
        }
        Ok(())
    }
}

impl Faults {
    /// One fault at one place.
    pub fn one(pointer: impl Into<String>, detail: impl Into<String>) -> Faults {
        Faults(vec![Fault { pointer: pointer.into(), detail: detail.into() }])
    }
}

type Found = Rc<RefCell<Vec<Fault>>>;

/// Reads a whole document: `read` takes its fields, and what it built is
/// returned only when nothing was wrong.
///
/// # Errors
/// All faults found, including fields that nobody asked for.
pub fn read<T>(document: &Value, read: impl FnOnce(&Fields<'_>) -> Option<T>) -> Result<T, Faults> {
    let found = Found::default();
    let built = match Fields::of(document, String::new(), &found) {
        Some(fields) => {
            let built = read(&fields);
            fields.refuse_unknown();
            built
        }
        None => None,
    };
    let faults = found.take();
    match built {
        Some(built) if faults.is_empty() => Ok(built),
        _ if faults.is_empty() => Err(Faults::one("", "could not be read")),
        _ => Err(Faults(faults)),
    }
}

/// Reads a document that is a table of named things, each by `one`.
///
/// # Errors
/// All faults found in any of them.
pub fn read_all<T>(document: &Value, one: impl Fn(&str, &Fields<'_>) -> Option<T>) -> Result<Vec<T>, Faults> {
    let found = Found::default();
    let mut built = Vec::new();
    if let Some(fields) = Fields::of(document, String::new(), &found) {
        for (id, value) in fields.map {
            let pointer = format!("/{}", escaped(id));
            if let Some(fields) = Fields::of(value, pointer, &found) {
                built.extend(one(id, &fields));
                fields.refuse_unknown();
            }
        }
    }
    let faults = found.take();
    if faults.is_empty() { Ok(built) } else { Err(Faults(faults)) }
}

/// The fields of one object of the input.
pub struct Fields<'a> {
    map: &'a Map<String, Value>,
    pointer: String,
    found: Found,
    asked: RefCell<BTreeSet<&'static str>>,
}

impl<'a> Fields<'a> {
    fn of(value: &'a Value, pointer: String, found: &Found) -> Option<Fields<'a>> {
        match value {
            Value::Object(map) => {
                Some(Fields { map, pointer, found: found.clone(), asked: RefCell::default() })
            }
            other => {
                found.borrow_mut().push(Fault {
                    pointer,
                    detail: format!("expected a table of named fields, found {}", named(other)),
                });
                None
            }
        }
    }

    /// Notes a fault at the field `name` of this object.
    pub fn fault(&self, name: &str, detail: impl Into<String>) {
        let pointer = if name.is_empty() {
            self.pointer.clone()
        } else {
            format!("{}/{}", self.pointer, escaped(name))
        };
        self.found.borrow_mut().push(Fault { pointer, detail: detail.into() });
    }

    /// The value of a field, when it is there and not null.
    pub fn value(&self, name: &'static str) -> Option<&'a Value> {
        self.asked.borrow_mut().insert(name);
        self.map.get(name).filter(|value| !value.is_null())
    }

    /// Whether the field is there and not null.
    pub fn has(&self, name: &'static str) -> bool {
        self.value(name).is_some()
    }

    /// Says that a field is missing, unless it is there.
    pub fn require(&self, name: &'static str) -> bool {
        let there = self.has(name);
        if !there {
            self.fault(name, "is missing");
        }
        there
    }

    /// A text.
    pub fn text(&self, name: &'static str) -> Option<String> {
        match self.value(name)? {
            Value::String(text) => Some(text.clone()),
            other => {
                self.fault(name, format!("expected a text, found {}", named(other)));
                None
            }
        }
    }

    /// A text that must be there and not blank.
    pub fn required_text(&self, name: &'static str) -> Option<String> {
        if !self.require(name) {
            return None;
        }
        let text = self.text(name)?;
        if text.trim().is_empty() {
            self.fault(name, "is blank");
            return None;
        }
        Some(text)
    }

    /// One of a few words.
    pub fn word(&self, name: &'static str, words: &[&'static str]) -> Option<&'static str> {
        let text = self.text(name)?;
        let word = words.iter().find(|word| **word == text).copied();
        if word.is_none() {
            self.fault(name, format!("`{text}` is not known; expected one of: {}", words.join(", ")));
        }
        word
    }

    /// A number within `[low, high]`.
    pub fn number(&self, name: &'static str, low: f64, high: f64) -> Option<f64> {
        let value = self.value(name)?;
        let number = checked_number(value, low, high);
        self.or_fault(name, number)
    }

    /// A whole number within `[low, high]`.
    pub fn whole(&self, name: &'static str, low: i64, high: i64) -> Option<i64> {
        let value = self.value(name)?;
        let number = checked_whole(value, low, high);
        self.or_fault(name, number)
    }

    /// Yes or no.
    pub fn flag(&self, name: &'static str) -> Option<bool> {
        match self.value(name)? {
            Value::Bool(flag) => Some(*flag),
            other => {
                self.fault(name, format!("expected true or false, found {}", named(other)));
                None
            }
        }
    }

    /// A moment in RFC 3339.
    pub fn instant(&self, name: &'static str) -> Option<Instant> {
        let text = self.text(name)?;
        match Instant::parse(&text) {
            Ok(at) => Some(at),
            Err(error) => {
                self.fault(name, error.to_string());
                None
            }
        }
    }

    /// A list of numbers within `[low, high]`, at least one.
    pub fn numbers(&self, name: &'static str, low: f64, high: f64) -> Option<Vec<f64>> {
        self.list(name, |value| checked_number(value, low, high))
    }

    /// A list of whole numbers within `[low, high]`, at least one.
    pub fn wholes(&self, name: &'static str, low: i64, high: i64) -> Option<Vec<i64>> {
        self.list(name, |value| checked_whole(value, low, high))
    }

    /// A list of texts; empty when the field is not there.
    pub fn texts(&self, name: &'static str) -> Vec<String> {
        self.list(name, |value| match value {
            Value::String(text) => Ok(text.clone()),
            other => Err(format!("expected a text, found {}", named(other))),
        })
        .unwrap_or_default()
    }

    /// The fields of an object inside this one.
    pub fn table(&self, name: &'static str) -> Option<Fields<'a>> {
        let value = self.value(name)?;
        Fields::of(value, format!("{}/{name}", self.pointer), &self.found)
    }

    /// Each object of a list, read by `read`; a single object counts as a list
    /// of one. Fields that `read` did not ask for are faults.
    pub fn tables<T>(&self, name: &'static str, mut read: impl FnMut(&Fields<'a>) -> Option<T>) -> Vec<T> {
        let mut one = |value: &'a Value, pointer: String| {
            let fields = Fields::of(value, pointer, &self.found)?;
            let built = read(&fields);
            fields.refuse_unknown();
            built
        };
        let pointer = format!("{}/{name}", self.pointer);
        match self.value(name) {
            None => Vec::new(),
            Some(Value::Array(items)) => {
                items.iter().enumerate().filter_map(|(n, item)| one(item, format!("{pointer}/{n}"))).collect()
            }
            Some(value) => one(value, pointer).into_iter().collect(),
        }
    }

    /// Each named text of an object, in order: for `where = { origin = "EWR" }`.
    pub fn pairs(&self, name: &'static str) -> Vec<(String, String)> {
        let Some(fields) = self.table(name) else {
            return Vec::new();
        };
        let mut pairs = Vec::new();
        for (key, value) in fields.map {
            match value {
                Value::String(text) => pairs.push((key.clone(), text.clone())),
                other => fields.fault(key, format!("expected a text, found {}", named(other))),
            }
        }
        pairs
    }

    /// The object itself, as it came.
    pub fn raw(&self) -> &'a Map<String, Value> {
        self.map
    }

    /// Leaves the remaining fields unread on purpose.
    pub fn ignore(&self, names: &[&'static str]) {
        self.asked.borrow_mut().extend(names);
    }

    /// Notes every field that nobody asked for: a misspelt name must not pass
    /// as a setting that took effect.
    pub fn refuse_unknown(&self) {
        let asked = self.asked.borrow();
        for key in self.map.keys() {
            if !asked.contains(key.as_str()) {
                let known: Vec<_> = asked.iter().copied().collect();
                self.fault(key, format!("is not a field here; known: {}", known.join(", ")));
            }
        }
    }

    fn or_fault<T>(&self, name: &str, read: Result<T, String>) -> Option<T> {
        read.map_err(|detail| self.fault(name, detail)).ok()
    }

    fn list<T>(&self, name: &'static str, read: impl Fn(&Value) -> Result<T, String>) -> Option<Vec<T>> {
        let value = self.value(name)?;
        let Value::Array(items) = value else {
            self.fault(name, format!("expected a list, found {}", named(value)));
            return None;
        };
        if items.is_empty() {
            self.fault(name, "is an empty list; expected at least one value");
            return None;
        }
        let mut whole = true;
        let mut built = Vec::with_capacity(items.len());
        for (n, item) in items.iter().enumerate() {
            match read(item) {
                Ok(value) => built.push(value),
                Err(detail) => {
                    whole = false;
                    self.found
                        .borrow_mut()
                        .push(Fault { pointer: format!("{}/{name}/{n}", self.pointer), detail });
                }
            }
        }
        whole.then_some(built)
    }
}

/// A key as RFC 6901 writes it.
fn escaped(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

fn checked_number(value: &Value, low: f64, high: f64) -> Result<f64, String> {
    match value.as_f64() {
        Some(number) if number.is_finite() && (low..=high).contains(&number) => Ok(number),
        Some(number) => Err(format!("{number} is outside {low} to {high}")),
        None => Err(format!("expected a number from {low} to {high}, found {}", named(value))),
    }
}

fn checked_whole(value: &Value, low: i64, high: i64) -> Result<i64, String> {
    let whole = value
        .as_i64()
        .or_else(|| value.as_f64().filter(|n| n.fract() == 0.0 && n.abs() < 1e15).map(|n| n as i64));
    match whole {
        Some(number) if (low..=high).contains(&number) => Ok(number),
        Some(number) => Err(format!("{number} is outside {low} to {high}")),
        None => Err(format!("expected a whole number from {low} to {high}, found {}", named(value))),
    }
}

fn named(value: &Value) -> String {
    match value {
        Value::Null => "nothing".into(),
        Value::Bool(flag) => format!("`{flag}`"),
        Value::Number(number) => format!("the number {number}"),
        Value::String(text) => format!("the text `{text}`"),
        Value::Array(_) => "a list".into(),
        Value::Object(_) => "a table".into(),
    }
}
