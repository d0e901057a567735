//! The caller: who they are, and the tokens and sign-ins that are theirs.

use axum::Json;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input;
use serde_json::{Value, json};
use store::{Credential, Person, Scope};

use crate::answer::{Answer, ok, whole};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;

const SCOPES: [&str; 2] = ["read", "write"];

/// The caller with their roles.
pub(crate) async fn one(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let person = match &desk.caller.person_id {
        Some(id) => desk.store.person(id).await?,
        None => None,
    };
    ok(render(&desk, person.as_ref()))
}

/// Changes the caller's name.
pub(crate) async fn change(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let id = desk.person()?;
    let name = input::read(&document, |fields| fields::name(fields, "name"))?;
    desk.allow_writing()?;
    let held = desk.store.person(id).await?.ok_or_else(Problem::no_token)?;
    desk.store.rename_person(&held, &name).await?;
    let person = desk.store.person(id).await?;
    ok(render(&desk, person.as_ref()))
}

/// The caller's tokens and sign-ins, those that ended too.
pub(crate) async fn credentials(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let held = desk.store.credentials_of(desk.person()?).await?;
    whole(held.iter().map(|one| render_credential(&desk, one)).collect())
}

/// Makes a token. Its secret is in this answer and nowhere else.
pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let person = desk.person()?;
    let now = desk.now();
    let (name, scope, expires_at) = input::read(&document, |fields| {
        let name = fields::name(fields, "name");
        let scope = if fields.require("scope") { fields.word("scope", &SCOPES) } else { None };
        let expires_at = fields.instant("expires_at");
        if expires_at.is_some_and(|end| end <= now) {
            fields.fault("expires_at", "lies in the past: the token would never hold");
        }
        Some((name?, Scope::named(scope?)?, expires_at))
    })?;
    desk.allow_writing()?;
    let wanted = access::Wanted { person_id: Some(person), name: &name, scope, expires_at };
    let (id, secret) = access::new_token(&desk.store, wanted, now).await.map_err(failed)?;
    let document = json!({
        "id": id, "kind": "token", "name": name, "scope": scope.word(), "created_at": now,
        "expires_at": expires_at, "secret": secret,
    });
    Ok((StatusCode::CREATED, Json(document)).into_response())
}

/// Takes one of the caller's tokens or sign-ins back.
pub(crate) async fn revoke(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let held = desk.store.credentials_of(desk.person()?).await?;
    if held.iter().all(|one| one.id != id) {
        return Err(Problem::not_found(format!("You have no token or sign-in `{id}`.")));
    }
    // A token that leaked may be given up by whoever holds it, and no other.
    if id != desk.caller.credential_id {
        desk.allow_writing()?;
    }
    desk.store.revoke(&id, desk.now()).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// What failed when a secret was made.
pub(crate) fn failed(error: access::MakeError) -> Problem {
    match error {
        access::MakeError::Store(error) => error.into(),
        access::MakeError::NoRandom(error) => {
            tracing::error!(%error, "no secret could be made");
            Problem::failed()
        }
    }
}

impl Visit {
    /// The person who calls.
    fn person(&self) -> Result<&str, Problem> {
        self.caller.person_id.as_deref().ok_or_else(|| {
            Problem::conflict("This token belongs to no person: it is the operator's first one.")
        })
    }

    /// Refuses a token that only reads.
    pub(crate) fn allow_writing(&self) -> Result<(), Problem> {
        if self.caller.scope == Scope::Write { Ok(()) } else { Err(Problem::not_allowed("the person")) }
    }
}

fn render(desk: &Visit, person: Option<&Person>) -> Value {
    let roles: Vec<Value> = desk
        .caller
        .memberships
        .iter()
        .map(|one| json!({"farm_id": one.farm_id, "role": one.role.word(), "since": one.since}))
        .collect();
    json!({
        "person": person.map(|person| json!({"id": person.id, "name": person.name, "email": person.email})),
        "operator": desk.caller.operator,
        "roles": roles,
        "credential": {"id": desk.caller.credential_id, "scope": desk.caller.scope.word()},
    })
}

fn render_credential(desk: &Visit, one: &Credential) -> Value {
    json!({
        "id": one.id,
        "kind": one.kind.word(),
        "name": one.name,
        "scope": one.scope.word(),
        "created_at": one.created_at,
        "expires_at": one.expires_at,
        "last_used_at": one.last_used_at,
        "revoked_at": one.revoked_at,
        "holds": one.holds(desk.now()),
        "this": one.id == desk.caller.credential_id,
    })
}
