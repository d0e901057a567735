//! The operator's hand on the server: the API called within this process, so
//! that what is typed is checked and noted as everywhere else.

use std::sync::Arc;

use anyhow::{Context, bail};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, StatusCode, header};
use model::time::Instant;
use serde_json::Value;
use store::{Behalf, Person, Store};
use tower::ServiceExt;

use crate::hooks::Caller;
use crate::settings::{Database, Given, Settings};
use crate::{clock, document, house};

/// Longest answer: a farm's export.
const LONGEST: usize = 4 << 30;

/// A database with the API on it.
pub(crate) struct Hand {
    /// The database, on whose behalf what is done is noted.
    pub(crate) store: Store,
    /// Address under which people reach the server.
    pub(crate) public_url: String,
    router: Router,
}

impl Hand {
    /// Opens the database.
    pub(crate) async fn open(database: &Database) -> anyhow::Result<Hand> {
        let settings = Settings::from(&Given::of(database))?;
        let store = Store::open(&settings.database).await?;
        let clock = clock::system();
        let feeds = house::feeds(&settings)?;
        let thresholds = document::thresholds(settings.checks.as_deref())?;
        let catalogue = document::catalogue(&document::Instead::of(&settings))?;
        let caller = Caller::new(&settings.allow_hook_hosts)?;
        let router = api::at_the_server(api::App {
            sound: Arc::new(true.into()),
            store: store.clone(),
            clock: clock.clone(),
            catalogue: catalogue.under(&thresholds.rules()),
            thresholds: Arc::new(thresholds),
            providers: feeds.iter().map(|feed| house::provider(feed.as_ref())).collect(),
            // A service that runs looks twice a minute by itself.
            poke: Arc::new(|_| ()),
            callable: Arc::new(move |url| caller.check(url)),
            requests_a_minute: 0,
            version: env!("CARGO_PKG_VERSION"),
        });
        let behalf = Behalf {
            viewer: None,
            person_id: None,
            credential_id: Some(access::Caller::at_the_server().credential_id),
            request_id: uuid::Uuid::now_v7().to_string(),
            at: clock.now(),
        };
        let public_url = settings.public_url.unwrap_or_else(|| format!("http://{}", settings.listen));
        Ok(Hand { store: store.on_behalf(behalf), public_url, router })
    }

    /// Now.
    pub(crate) fn now(&self) -> Instant {
        clock::system().now()
    }

    /// Asks for something; what is wrong with it comes as the error.
    pub(crate) async fn ask(&self, method: Method, path: &str, body: Option<Value>) -> anyhow::Result<Value> {
        let mut request = Request::builder().method(method).uri(format!("/api/v1/{path}"));
        request = request.header(header::IF_MATCH, "*");
        if body.is_some() {
            request = request.header(header::CONTENT_TYPE, "application/json");
        }
        let body = body.map_or_else(Body::empty, |body| Body::from(body.to_string()));
        let answer = self.router.clone().oneshot(request.body(body)?).await?;
        let status = answer.status();
        let bytes = to_bytes(answer.into_body(), LONGEST).await?;
        let document = if bytes.is_empty() { Value::Null } else { serde_json::from_slice(&bytes)? };
        if status.is_success() {
            return Ok(document);
        }
        bail!("{}", said(status, &document))
    }

    /// Every page of a list.
    pub(crate) async fn list(&self, path: &str) -> anyhow::Result<Vec<Value>> {
        let mut all = Vec::new();
        let mut cursor: Option<String> = None;
        loop {
            let asked = match &cursor {
                None => format!("{path}?limit=1000"),
                Some(cursor) => format!("{path}?limit=1000&cursor={cursor}"),
            };
            let mut page = self.ask(Method::GET, &asked, None).await?;
            if let Some(items) = page.get_mut("items").and_then(Value::as_array_mut) {
                all.append(items);
            }
            cursor = page.get("next").and_then(Value::as_str).map(str::to_owned);
            if cursor.is_none() {
                return Ok(all);
            }
        }
    }

    /// The person of a mail address.
    pub(crate) async fn person(&self, email: &str) -> anyhow::Result<Person> {
        let found = self.store.person_by_email(&email.trim().to_lowercase()).await?;
        found.with_context(|| {
            format!("nobody here has the address {email}; `bloomtide user list` shows who is")
        })
    }
}

/// A problem in one line.
fn said(status: StatusCode, problem: &Value) -> String {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let mut said = text(&problem["detail"]);
    if said.is_empty() {
        said = format!("{} {}", status.as_u16(), text(&problem["title"]));
    }
    for error in problem["errors"].as_array().into_iter().flatten() {
        said += &format!("; {}: {}", text(&error["pointer"]).trim_start_matches('/'), text(&error["detail"]));
    }
    said
}

/// Rows for people, the columns as wide as they need be.
pub(crate) fn table(head: &[&str], rows: &[Vec<String>]) -> String {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count());
        cells.chain([head[column].chars().count()]).max().unwrap_or_default()
    };
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    let line = |cells: Vec<&str>| {
        let padded = cells.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}"));
        padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    let rows = rows.iter().map(|row| line(row.iter().map(String::as_str).collect()));
    std::iter::once(line(head.to_vec())).chain(rows).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_problem_is_one_line_with_all_its_faults() {
        let problem = json!({"title": "Invalid", "detail": "The body has faults.", "errors": [
            {"pointer": "/name", "detail": "is missing"}, {"pointer": "/id", "detail": "is too long"}]});
        let said = said(StatusCode::UNPROCESSABLE_ENTITY, &problem);
        assert_eq!(said, "The body has faults.; name: is missing; id: is too long");
    }

    #[test]
    fn columns_are_as_wide_as_they_need_be() {
        let rows = [vec!["alder".to_owned(), "Alder Ridge".to_owned()], vec!["b".to_owned(), String::new()]];
        assert_eq!(table(&["ID", "NAME"], &rows), "ID     NAME\nalder  Alder Ridge\nb");
    }
}
