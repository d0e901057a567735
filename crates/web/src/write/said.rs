//! Faults of an entry in one sentence each, by the words of its form.

use model::record;

use super::forms;
use crate::words::Words;

/// All faults as they are told on one line; where each is, by its field's label.
pub(crate) fn faults(faults: &[(Option<String>, String)], words: &'static Words) -> String {
    let all: Vec<String> =
        faults.iter().map(|(pointer, detail)| fault(pointer.as_deref(), detail, words)).collect();
    all.join(" ")
}

fn fault(pointer: Option<&str>, detail: &str, words: &'static Words) -> String {
    // What a page sends is a person's, not a program's.
    let detail = detail.trim_end_matches('.').trim_end_matches(api::WITH_A_TOKEN);
    let mut parts =
        pointer.unwrap_or_default().split('/').filter(|part| !part.is_empty() && *part != "entry");
    let Some(name) = parts.next() else { return format!("{detail}.") };
    let label = label(name, words);
    match parts.next().and_then(|place| place.parse::<usize>().ok()) {
        Some(place) => {
            words.fill("entries.fault_in", &[("field", &label), ("n", &(place + 1)), ("fault", &detail)])
        }
        None => words.fill("entries.fault", &[("field", &label), ("fault", &detail)]),
    }
}

/// A field's name for people.
pub(crate) fn label(name: &str, words: &'static Words) -> String {
    let known = forms::ALL.iter().flat_map(|form| form.fields).find(|field| field.name == name);
    let label = match known.and_then(|field| field.label) {
        Some(key) => words.get(key),
        None => match name {
            "at" => words.get("log.at"),
            other => record::words_for(other).unwrap_or(other),
        },
    };
    let mut letters = label.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
