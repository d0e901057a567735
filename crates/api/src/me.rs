//! The caller: who they are, and the tokens and sign-ins that are theirs.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input;
use model::time::Instant;
use model::units::Units;
use serde::Serialize;
use store::{Credential, Person, Scope};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::fields;
use crate::once::Secret;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};

/// The caller.
#[derive(Serialize, ToSchema)]
pub(crate) struct CallerShown {
    /// Null for the operator's first token, which is no one's.
    person: Option<PersonShown>,
    /// Whether all farms are theirs to see and change.
    operator: bool,
    roles: Vec<RoleShown>,
    credential: CredentialInUse,
}

/// A person as they see themselves.
#[derive(Serialize, ToSchema)]
pub(crate) struct PersonShown {
    id: String,
    name: String,
    email: String,
    /// Units in which pages show figures: `both`, `metric` or `us`.
    units: &'static str,
}

/// A role on a farm.
#[derive(Serialize, ToSchema)]
pub(crate) struct RoleShown {
    farm_id: String,
    /// `advisor`, `grower` or `consultant`.
    role: &'static str,
    #[schema(value_type = Moment)]
    since: Instant,
}

/// The token of this request.
#[derive(Serialize, ToSchema)]
pub(crate) struct CredentialInUse {
    id: String,
    /// `read` or `write`.
    scope: &'static str,
}

/// A token or a sign-in.
#[derive(Serialize, ToSchema)]
pub(crate) struct CredentialShown {
    id: String,
    /// `token` or `session`.
    kind: &'static str,
    /// What it is for, or the browser that signed in.
    name: String,
    /// `read` or `write`.
    scope: &'static str,
    #[schema(value_type = Moment)]
    created_at: Instant,
    #[schema(value_type = Option<Moment>)]
    expires_at: Option<Instant>,
    /// To some minutes.
    #[schema(value_type = Option<Moment>)]
    last_used_at: Option<Instant>,
    #[schema(value_type = Option<Moment>)]
    revoked_at: Option<Instant>,
    /// Whether it still lets anyone in.
    holds: bool,
    /// Whether it is that of this request.
    this: bool,
}

/// A token as it was made.
#[derive(Serialize, ToSchema)]
pub(crate) struct TokenMade {
    id: String,
    kind: &'static str,
    name: String,
    scope: &'static str,
    #[schema(value_type = Moment)]
    created_at: Instant,
    #[schema(value_type = Option<Moment>)]
    expires_at: Option<Instant>,
    /// Shown this once; null where the same request comes again.
    secret: Option<String>,
}

/// What changes about the caller.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct CallerChange {
    #[schema(max_length = 200, nullable = false)]
    name: Option<String>,
    /// `both`, `metric` or `us`.
    #[schema(nullable = false)]
    units: Option<String>,
}

/// A token as it is asked for.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct TokenAsked {
    #[schema(max_length = 200)]
    name: String,
    /// `read` or `write`.
    scope: String,
    #[schema(value_type = Option<Moment>)]
    expires_at: Option<Instant>,
}

const SCOPES: [&str; 2] = ["read", "write"];

/// The caller with their roles.
#[utoipa::path(get, path = "/me", tag = "me", operation_id = "read-me",
    responses((status = 200, body = CallerShown)))]
pub(crate) async fn one(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let person = match &desk.caller.person_id {
        Some(id) => desk.store.person(id).await?,
        None => None,
    };
    ok(shown(&desk, person.as_ref()))
}

/// Changes the caller's name, or the units that they read figures in.
#[utoipa::path(patch, path = "/me", tag = "me", operation_id = "change-me", request_body = CallerChange,
    responses((status = 200, body = CallerShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let id = desk.person()?;
    desk.allow_writing()?;
    let held = desk.store.person(id).await?.ok_or_else(Problem::no_token)?;
    if_match.check(&shown(&desk, Some(&held)))?;
    let (name, units) = input::read(&document, |fields| {
        let name = if fields.has("name") { fields::name(fields, "name") } else { Some(held.name.clone()) };
        let units = match fields.has("units") {
            true => fields.word("units", &Units::WORDS).and_then(Units::named),
            false => Some(held.units),
        };
        Some((name?, units?))
    })?;
    desk.store.change_person(&held, &name, units).await?;
    let person = desk.store.person(id).await?;
    changed(shown(&desk, person.as_ref()))
}

/// Removes the caller: name, address, password and roles go, every token ends, and
/// what they did stays under the role that they had.
#[utoipa::path(delete, path = "/me", tag = "me", operation_id = "remove-me", responses((status = 204)))]
pub(crate) async fn remove(Here(desk): Here, query: Query, if_match: IfMatch) -> Answer {
    query.finish()?;
    let id = desk.person()?;
    desk.allow_writing()?;
    let held = desk.store.person(id).await?.ok_or_else(Problem::no_token)?;
    if_match.check(&shown(&desk, Some(&held)))?;
    desk.store.remove_person(&held, desk.now()).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// The caller's tokens and sign-ins, those that ended too.
#[utoipa::path(get, path = "/me/tokens", tag = "me", operation_id = "list-tokens",
    responses((status = 200, body = Page<CredentialShown>)))]
pub(crate) async fn credentials(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let held = desk.store.credentials_of(desk.person()?).await?;
    whole(held.iter().map(|one| shown_credential(&desk, one)).collect())
}

/// One of the caller's tokens or sign-ins.
#[utoipa::path(get, path = "/me/tokens/{id}", tag = "me", operation_id = "read-token",
    params(("id" = String, Path)), responses((status = 200, body = CredentialShown)))]
pub(crate) async fn credential(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(shown_credential(&desk, &desk.credential(&id).await?))
}

/// Makes a token. Its secret is in this answer and nowhere else.
#[utoipa::path(post, path = "/me/tokens", tag = "me", operation_id = "make-token", request_body = TokenAsked,
    responses((status = 201, body = TokenMade)))]
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
    let location = format!("/api/v1/me/tokens/{id}");
    let made = TokenMade {
        id,
        kind: "token",
        name,
        scope: scope.word(),
        created_at: now,
        expires_at,
        secret: Some(secret),
    };
    let mut response = created(&location, made)?;
    response.extensions_mut().insert(Secret("secret"));
    Ok(response)
}

/// Takes one of the caller's tokens or sign-ins back: from the next request on
/// it lets no one in.
#[utoipa::path(delete, path = "/me/tokens/{id}", tag = "me", operation_id = "revoke-token",
    params(("id" = String, Path)), responses((status = 204)))]
pub(crate) async fn revoke(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let held = desk.credential(&id).await?;
    if_match.check(&shown_credential(&desk, &held))?;
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
    pub(crate) fn person(&self) -> Result<&str, Problem> {
        self.caller.person_id.as_deref().ok_or_else(|| {
            Problem::conflict("This token belongs to no person: it is the operator's first one.")
        })
    }

    /// One of the caller's own tokens and sign-ins.
    async fn credential(&self, id: &str) -> Result<Credential, Problem> {
        let held = self.store.credentials_of(self.person()?).await?;
        let found = held.into_iter().find(|one| one.id == id);
        found.ok_or_else(|| Problem::not_found(format!("You have no token or sign-in `{id}`.")))
    }

    /// Refuses a token that only reads.
    pub(crate) fn allow_writing(&self) -> Result<(), Problem> {
        if self.caller.scope == Scope::Write { Ok(()) } else { Err(Problem::not_allowed("the person")) }
    }
}

pub(crate) fn shown(desk: &Visit, person: Option<&Person>) -> CallerShown {
    let roles = desk.caller.memberships.iter();
    CallerShown {
        person: person.cloned().map(|Person { id, name, email, units, .. }| PersonShown {
            id,
            name,
            email,
            units: units.word(),
        }),
        operator: desk.caller.operator,
        roles: roles
            .map(|one| RoleShown { farm_id: one.farm_id.clone(), role: one.role.word(), since: one.since })
            .collect(),
        credential: CredentialInUse {
            id: desk.caller.credential_id.clone(),
            scope: desk.caller.scope.word(),
        },
    }
}

pub(crate) fn shown_credential(desk: &Visit, one: &Credential) -> CredentialShown {
    CredentialShown {
        id: one.id.clone(),
        kind: one.kind.word(),
        name: one.name.clone(),
        scope: one.scope.word(),
        created_at: one.created_at,
        expires_at: one.expires_at,
        last_used_at: one.last_used_at,
        revoked_at: one.revoked_at,
        holds: one.holds(desk.now()),
        this: one.id == desk.caller.credential_id,
    }
}
