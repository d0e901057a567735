//! The document: its examples are what the API answers, and its checked-in copy
//! is what it says.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use crate::house::House;
use crate::story::play;

/// Set to write the files anew in place of comparing them.
const REWRITE: &str = "BLOOMTIDE_REWRITE";

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

#[track_caller]
fn same(path: &Path, now: &Value) {
    let text = format!("{}\n", serde_json::to_string_pretty(now).unwrap());
    if std::env::var_os(REWRITE).is_some() {
        std::fs::write(path, text).unwrap();
        return;
    }
    let held = std::fs::read_to_string(path).unwrap_or_default();
    let at = held.lines().zip(text.lines()).position(|(held, now)| held != now);
    assert!(
        held == text,
        "{} differs from line {:?} on; where that is meant, run this test with {REWRITE}=1 (twice: the document \
         takes the examples in when it is compiled)",
        path.display(),
        at.map(|line| line + 1)
    );
}

/// What is another at each run, in the place of which something fixed stands.
struct Masks(BTreeMap<String, String>);

impl Masks {
    fn mask(&mut self, value: &mut Value) {
        match value {
            Value::String(text) => *text = self.masked(text),
            Value::Array(items) => items.iter_mut().for_each(|item| self.mask(item)),
            Value::Object(fields) => fields.iter_mut().for_each(|(_, field)| self.mask(field)),
            _ => {}
        }
    }

    fn masked(&mut self, text: &str) -> String {
        for prefix in ["bt_", "bl_", "bc_", "whsec_"] {
            if let Some((before, secret)) = text.split_once(prefix) {
                let after = secret.get(64..).unwrap_or_default();
                return format!("{before}{prefix}{}{after}", "0".repeat(64));
            }
        }
        let is_id = text.len() == 36 && text.bytes().all(|byte| byte.is_ascii_hexdigit() || byte == b'-');
        if !is_id {
            return text.to_owned();
        }
        let number = self.0.len() + 1;
        self.0
            .entry(text.to_owned())
            .or_insert_with(|| format!("013f09e8-8200-7000-8000-{number:012}"))
            .clone()
    }
}

#[tokio::test]
async fn examples_are_what_is_answered() {
    let house = House::new().await;
    let mut told = Map::new();
    let mut masks = Masks(BTreeMap::new());
    play(&house, |step, answer| {
        let status = answer.status.as_u16();
        assert!((200..300).contains(&status), "{}: {status} {}", step.operation, answer.body);
        let mut example = json!({
            "parameters": step.parameters, "request": step.request, "status": status, "response": answer.body,
        });
        masks.mask(&mut example);
        assert!(
            told.insert(step.operation.to_owned(), example).is_none(),
            "{} comes up twice",
            step.operation
        );
    })
    .await;
    let untold: Vec<String> =
        api::operations().into_iter().map(|(_, _, id)| id).filter(|id| !told.contains_key(id)).collect();
    assert!(untold.is_empty(), "the story leaves out {untold:?}");
    same(&file("examples.json"), &Value::Object(told));
}

#[test]
fn the_document_is_the_one_that_is_checked_in() {
    same(&file("../../tests/openapi.json"), &api::document());
}

#[test]
fn every_operation_has_an_example() {
    let document = api::document();
    for (method, path, id) in api::operations() {
        let operation = &document["paths"][&path][method.to_lowercase()];
        assert!(!operation["summary"].as_str().unwrap_or_default().is_empty(), "{id} has no summary");
        let responses = operation["responses"].as_object().unwrap();
        let shown = responses.iter().any(|(status, response)| {
            status.starts_with('2')
                && (response["content"]["application/json"]["example"] != Value::Null || status == "204")
        });
        assert!(shown, "{id} shows no answer");
        let body = &operation["requestBody"];
        assert!(
            body.is_null() || body["content"]["application/json"]["example"] != Value::Null,
            "{id} shows no body"
        );
    }
}
