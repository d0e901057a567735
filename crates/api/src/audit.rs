//! Who did what: readable by a farm's advisors, and for operators the whole.

use axum::extract::Path;
use axum::http::HeaderMap;
use model::time::Instant;
use serde::Serialize;
use serde_json::Value;
use store::{Audit, AuditPart};
use utoipa::ToSchema;

use crate::answer::{Answer, page};
use crate::csv_out::{self, number_cell, text_cell};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{InForm, Moment, Page, Paging};

/// One thing that someone did.
#[derive(Serialize, ToSchema)]
pub(crate) struct AuditShown {
    /// Rises with time.
    number: i64,
    #[schema(value_type = Moment)]
    at: Instant,
    farm_id: Option<String>,
    /// Null for the operator's first token and on the command line.
    person_id: Option<String>,
    /// What they are called now.
    person: Option<String>,
    credential_id: Option<String>,
    request_id: String,
    /// What was done, in a word or two.
    deed: String,
    /// What it was done to.
    kind: String,
    /// Its id.
    subject: String,
    year: Option<i32>,
    #[schema(value_type = Option<Object>)]
    detail: Option<Value>,
}

const COLUMNS: [&str; 11] = [
    "number",
    "time_utc",
    "farm_id",
    "person_id",
    "person",
    "credential_id",
    "request_id",
    "deed",
    "kind",
    "subject",
    "year",
];

/// Who did what on a farm, the earliest first, as JSON or CSV. For its advisors.
#[utoipa::path(get, path = "/farms/{id}/audit", tag = "farms", operation_id = "read-farm-audit",
    params(("id" = String, Path), Paging, InForm),
    responses((status = 200, content((Page<AuditShown> = "application/json"), (String = "text/csv")))))]
pub(crate) async fn of_farm(here: Here, Path(id): Path<String>, query: Query, headers: HeaderMap) -> Answer {
    let farm = here.0.farm(&id).await?;
    if !here.0.caller.may_review(&farm.id) {
        return Err(Problem::not_allowed("an advisor of this farm"));
    }
    list(here, Some(&farm.id), query, headers).await
}

/// Who did what on this server. For operators.
#[utoipa::path(get, path = "/audit", tag = "farms", operation_id = "read-audit", params(Paging, InForm),
    responses((status = 200, content((Page<AuditShown> = "application/json"), (String = "text/csv")))))]
pub(crate) async fn whole(here: Here, query: Query, headers: HeaderMap) -> Answer {
    if !here.0.caller.operator {
        return Err(Problem::not_allowed("an operator"));
    }
    list(here, None, query, headers).await
}

async fn list(Here(desk): Here, farm: Option<&str>, mut query: Query, headers: HeaderMap) -> Answer {
    let csv = query.csv(&headers);
    let span = query.page();
    query.finish()?;
    let after = match span.after().map(str::parse) {
        None => 0,
        Some(Ok(number)) => number,
        Some(Err(_)) => return Err(Problem::parameter("after", "is no place in the audit")),
    };
    let mut entries = desk.store.audit(farm, AuditPart::After(after), span.limit + 1).await?;
    if !csv {
        return page(entries, &span, |entry| entry.number.to_string(), shown);
    }
    let next = span.cut(&mut entries, |entry| entry.number.to_string());
    let link = next.map(|next| span.link(&next));
    let rows = entries.iter().map(cells);
    csv_out::answer(&format!("audit-{}.csv", farm.unwrap_or("server")), &COLUMNS, rows, link)
}

fn cells(entry: &Audit) -> Vec<String> {
    let text = |text: &Option<String>| text.as_deref().map(text_cell).unwrap_or_default();
    vec![
        entry.number.to_string(),
        entry.at.to_string(),
        text(&entry.farm_id),
        text(&entry.person_id),
        text(&entry.person),
        text(&entry.credential_id),
        text_cell(&entry.request_id),
        text_cell(&entry.deed),
        text_cell(&entry.kind),
        text_cell(&entry.subject),
        number_cell(entry.year),
    ]
}

pub(crate) fn shown(entry: &Audit) -> AuditShown {
    let entry = entry.clone();
    AuditShown {
        number: entry.number,
        at: entry.at,
        farm_id: entry.farm_id,
        person_id: entry.person_id,
        person: entry.person,
        credential_id: entry.credential_id,
        request_id: entry.request_id,
        deed: entry.deed,
        kind: entry.kind,
        subject: entry.subject,
        year: entry.year,
        detail: entry.detail,
    }
}
