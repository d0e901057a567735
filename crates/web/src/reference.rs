//! The API's document as a page to read.

use std::sync::OnceLock;

use axum::http::StatusCode;
use axum::response::Response;
use serde_json::Value;

use crate::pages::{self, Chapter, Operation, Parameter, Reference};
use crate::words::english;

/// The page, which is the same for everyone.
pub(crate) async fn page() -> Response {
    static PAGE: OnceLock<Reference> = OnceLock::new();
    pages::page(StatusCode::OK, PAGE.get_or_init(|| reference(&api::document())))
}

fn reference(document: &Value) -> Reference {
    let mut chapters: Vec<Chapter> = Vec::new();
    let paths = document["paths"].as_object().into_iter().flatten();
    for (path, item) in paths {
        for (method, operation) in item.as_object().into_iter().flatten() {
            let name = text(&operation["tags"][0]);
            let described = described(path, method, operation);
            match chapters.iter_mut().find(|chapter| chapter.name == name) {
                Some(chapter) => chapter.operations.push(described),
                None => chapters.push(Chapter { name, operations: vec![described] }),
            }
        }
    }
    let about = text(&document["info"]["description"]);
    Reference {
        words: english(),
        title: english().get("reference.title"),
        about: about.split("\n\n").map(|part| part.replace("**", "")).collect(),
        chapters,
    }
}

fn described(path: &str, method: &str, operation: &Value) -> Operation {
    let parameters = operation["parameters"].as_array().into_iter().flatten();
    let responses = operation["responses"].as_object().into_iter().flatten();
    let shown = responses
        .filter(|(status, _)| status.starts_with('2'))
        .map(|(status, response)| (status.clone(), example(&response["content"])))
        .find(|(status, body)| body.is_some() || status == "204");
    Operation {
        id: text(&operation["operationId"]),
        method: method.to_uppercase(),
        path: path.to_owned(),
        about: [text(&operation["summary"]), text(&operation["description"])]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect(),
        parameters: parameters
            .map(|one| Parameter {
                name: text(&one["name"]),
                place: text(&one["in"]),
                required: one["required"] == true,
                about: text(&one["description"]),
            })
            .collect(),
        request: example(&operation["requestBody"]["content"]),
        status: shown.as_ref().map(|(status, _)| status.clone()).unwrap_or_default(),
        response: shown.and_then(|(_, body)| body),
    }
}

/// A text of the document without the marks of its code.
fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().replace('`', "")
}

fn example(content: &Value) -> Option<String> {
    let example = &content["application/json"]["example"];
    (!example.is_null()).then(|| serde_json::to_string_pretty(example).unwrap_or_default())
}
