//! The API's document (OpenAPI 3.1): what stands beside each handler, and what
//! holds for all of them.

use std::sync::OnceLock;

use axum::http::header;
use axum::response::IntoResponse;
use serde_json::{Map, Value, json};
use utoipa::openapi::{ComponentsBuilder, InfoBuilder, OpenApi};
use utoipa::{PartialSchema, ToSchema};

use crate::shapes;

/// What each operation was asked and answered when the examples were last made,
/// by its id.
const EXAMPLES: &str = include_str!("../examples.json");

const ABOUT: &str = "What growers, advisors and their programs ask of bloomtide.

Times are RFC 3339 in UTC, temperatures degrees Celsius, lengths mm. A client sends its token as \
`Authorization: Bearer bt_…`. What the caller may not see is answered as what is not there.

**Lists** come in pages: `next` is what to give as `after`, and the header `Link` has the same as an address.

**Changes** (PUT, PATCH, DELETE) name what they change: `If-Match` with the `ETag` that was read. 428 without it, \
412 when someone else came between. `If-None-Match` on a read is answered with 304 where nothing changed.

**Repeats**: every POST takes an `Idempotency-Key`. The first answer of success is kept for 90 days and given again; \
secrets are not kept.

**Limits**: `RateLimit-Policy` and `RateLimit` say what a token has left, `Retry-After` when to come again.

**Problems** are `application/problem+json` (RFC 9457), with everything that is wrong at once.

What the program says is an estimate. Read and follow the label: it is the law. Local registration and licensed \
advice come first.";

/// The document of everything under `/api/v1`.
pub fn document() -> Value {
    // What is written down in this program is always JSON.
    let examples: Map<String, Value> = serde_json::from_str(EXAMPLES).unwrap_or_default();
    let mut document = json!(bare());
    // Read again: the library's own map keeps no paths in order.
    for (path, method, operation) in each_operation(&mut document) {
        let id = operation["operationId"].as_str().unwrap_or_default().to_owned();
        complete(&path, &method, operation, examples.get(&id));
    }
    document
}

/// Every operation that is served under `/api/v1`: its method, its path as the
/// document writes it, and its id.
pub fn operations() -> Vec<(String, String, String)> {
    let mut document = json!(bare());
    let each = each_operation(&mut document).into_iter();
    each.map(|(path, method, operation)| {
        (method.to_uppercase(), path, operation["operationId"].as_str().unwrap_or_default().to_owned())
    })
    .collect()
}

/// What the handlers say, without what holds for all.
fn bare() -> OpenApi {
    let mut api = OpenApi::default();
    api.merge(crate::v1().into_openapi());
    let mut nested = OpenApi::default().nest("/api/v1", api);
    nested.info = InfoBuilder::new()
        .title("bloomtide")
        .version(env!("CARGO_PKG_VERSION"))
        .description(Some(ABOUT))
        .build();
    let components = nested.components.get_or_insert_with(|| ComponentsBuilder::new().build());
    let mut more = Vec::new();
    shapes::Problem::schemas(&mut more);
    components.schemas.insert(shapes::Problem::name().into_owned(), shapes::Problem::schema());
    components.schemas.extend(more);
    nested
}

const METHODS: [&str; 5] = ["get", "post", "put", "patch", "delete"];

fn each_operation(document: &mut Value) -> Vec<(String, String, &mut Value)> {
    document["components"]["securitySchemes"] = json!({"token": {"type": "http", "scheme": "bearer"}});
    document["security"] = json!([{"token": []}]);
    let Some(paths) = document["paths"].as_object_mut() else { return Vec::new() };
    paths
        .iter_mut()
        .flat_map(|(path, item)| {
            let operations = item.as_object_mut().into_iter().flatten();
            operations
                .filter(|(method, _)| METHODS.contains(&method.as_str()))
                .map(|(method, operation)| (path.clone(), method.clone(), operation))
        })
        .collect()
}

/// Adds what holds for every operation of its kind, and its example.
fn complete(path: &str, method: &str, operation: &mut Value, example: Option<&Value>) {
    let header_parameter = |name: &str, required: bool, about: &str| {
        json!({"name": name, "in": "header", "required": required, "description": about,
            "schema": {"type": "string"}})
    };
    let mut parameters = operation["parameters"].as_array().cloned().unwrap_or_default();
    match method {
        "get" => parameters.push(header_parameter("If-None-Match", false, "Tags that the client has.")),
        "post" => parameters.push(json!({"name": "Idempotency-Key", "in": "header", "required": false,
            "description": "The same key and body again give the first answer.",
            "schema": {"type": "string", "minLength": 1, "maxLength": 255, "pattern": "^[!-~]+$"}})),
        // The first plan has nothing to match.
        _ => parameters.push(header_parameter(
            "If-Match",
            !path.ends_with("/plan"),
            "The tag of what is changed, or `*`.",
        )),
    }
    if let Some(given) = example.and_then(|example| example["parameters"].as_object()) {
        for parameter in &mut parameters {
            if let Some(value) = parameter["name"].as_str().and_then(|name| given.get(name)) {
                parameter["example"] = value.clone();
            }
        }
    }
    operation["parameters"] = Value::Array(parameters);
    if let (Some(example), Some(body)) = (example, operation.get_mut("requestBody"))
        && !example["request"].is_null()
    {
        body["content"]["application/json"]["example"] = example["request"].clone();
    }
    let Some(responses) = operation["responses"].as_object_mut() else { return };
    for (status, response) in responses.iter_mut() {
        describe(method, status, response);
        let answered = example.filter(|example| example["status"].as_u64() == status.parse().ok());
        if let Some(example) = answered
            && response.get("content").is_some()
        {
            response["content"]["application/json"]["example"] = example["response"].clone();
        }
    }
    if method == "get" {
        responses
            .insert("304".into(), json!({"description": "Nothing has changed since the tag was given."}));
    }
    for (status, about) in PROBLEMS {
        let of_changes = ["412", "428"].contains(&status);
        if of_changes && ["get", "post"].contains(&method) {
            continue;
        }
        responses.insert(status.into(), problem(about));
    }
}

/// Answers that are problems: those that a client meets, then all others.
const PROBLEMS: [(&str, &str); 10] = [
    ("400", "The request cannot be read."),
    ("401", "No token, or none that holds."),
    ("403", "The caller sees this and may not do it."),
    ("404", "Not there, or not for the caller."),
    ("409", "It does not fit what is stored."),
    ("412", "It is no longer as the client read it."),
    ("422", "Something in it is not as it must be."),
    ("428", "`If-Match` is missing."),
    ("429", "Too many requests."),
    ("default", "Anything else that went wrong."),
];

fn problem(about: &str) -> Value {
    json!({"description": about, "content": {"application/problem+json": {
        "schema": {"$ref": "#/components/schemas/Problem"}}}})
}

fn describe(method: &str, status: &str, response: &mut Value) {
    if response["description"].as_str().is_none_or(str::is_empty) {
        response["description"] = json!(match status {
            "201" => "Made.",
            "204" => "Done; there is nothing to say.",
            _ => "Done.",
        });
    }
    let text = |about: &str| json!({"description": about, "schema": {"type": "string"}});
    let mut headers = Map::new();
    if method != "post" && status != "204" {
        headers.insert("ETag".into(), text("What `If-Match` and `If-None-Match` name."));
    }
    if method == "post" && status == "201" {
        headers.insert("Location".into(), text("Where it stands from now on."));
    }
    if !headers.is_empty() {
        response["headers"] = Value::Object(headers);
    }
}

/// The document as it is served: nothing in it is secret.
pub(crate) async fn served() -> impl IntoResponse {
    static TEXT: OnceLock<String> = OnceLock::new();
    let text = TEXT.get_or_init(|| document().to_string());
    ([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-cache")], text.as_str())
}
