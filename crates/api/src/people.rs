//! The people of a farm and their roles, and invitations to it.

use access::{Deed, link};
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input::{self, Fields};
use model::time::Instant;
use serde::Serialize;
use store::{Link, Membership, Person, Role};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::once::Secret;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};
use crate::{fields, me};

const ROLES: [&str; 3] = ["advisor", "grower", "consultant"];

/// A person with their role on a farm.
#[derive(Serialize, ToSchema)]
pub(crate) struct MemberShown {
    id: String,
    name: String,
    email: String,
    /// `advisor`, `grower` or `consultant`.
    role: &'static str,
    #[schema(value_type = Moment)]
    since: Instant,
}

/// A role as it is given.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct RoleGiven {
    /// `advisor`, `grower` or `consultant`.
    role: String,
}

/// An invitation as it is asked for.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct InvitationAsked {
    #[schema(max_length = 254)]
    email: String,
    /// `advisor`, `grower` or `consultant`.
    role: String,
}

/// An invitation as it was made: the link works once.
#[derive(Serialize, ToSchema)]
pub(crate) struct InvitationMade {
    id: String,
    farm_id: String,
    email: String,
    role: &'static str,
    /// Where on this server the link leads, shown this once; null where the same
    /// request comes again.
    path: Option<String>,
    #[schema(value_type = Moment)]
    expires_at: Instant,
}

/// An invitation that still works; its link is not kept.
#[derive(Serialize, ToSchema)]
pub(crate) struct InvitationShown {
    id: String,
    email: Option<String>,
    role: Option<&'static str>,
    /// Id of the person who made it; none for the operator's first token.
    made_by: Option<String>,
    #[schema(value_type = Moment)]
    created_at: Instant,
    #[schema(value_type = Moment)]
    expires_at: Instant,
}

/// Who has a role on a farm.
#[utoipa::path(get, path = "/farms/{id}/people", tag = "people", operation_id = "list-people",
    params(("id" = String, Path)), responses((status = 200, body = Page<MemberShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let members = desk.store.members_of(&farm.id).await?;
    whole(members.iter().map(|(person, membership)| shown(person, membership)).collect())
}

/// One person of a farm.
#[utoipa::path(get, path = "/farms/{id}/people/{person}", tag = "people", operation_id = "read-person",
    params(("id" = String, Path), ("person" = String, Path)), responses((status = 200, body = MemberShown)))]
pub(crate) async fn one(
    Here(desk): Here,
    Path((farm, person)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let (person, held) = desk.member(&farm.id, &person).await?;
    ok(shown(&person, &held))
}

/// Changes the role of a person who has one.
#[utoipa::path(put, path = "/farms/{id}/people/{person}", tag = "people", operation_id = "change-role",
    params(("id" = String, Path), ("person" = String, Path)), request_body = RoleGiven,
    responses((status = 200, body = MemberShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path((farm, person)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let (person, before) = desk.member(&farm.id, &person).await?;
    if_match.check(&shown(&person, &before))?;
    let role = input::read(&document, role)?;
    let now = desk.now();
    desk.store.set_role(&person.id, &farm.id, Some(before.role), role, now).await?;
    let since = if before.role == role { before.since } else { now };
    changed(shown(&person, &Membership { role, since, ..before }))
}

/// Ends a person's role: the farm is not there for them any more, from their
/// next request on. Everyone may leave.
#[utoipa::path(delete, path = "/farms/{id}/people/{person}", tag = "people", operation_id = "end-role",
    params(("id" = String, Path), ("person" = String, Path)), responses((status = 204)))]
pub(crate) async fn remove(
    Here(desk): Here,
    Path((farm, person)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    if desk.caller.person_id.as_deref() == Some(&person) {
        desk.allow_writing()?;
    } else {
        desk.allow(Deed::SetUp, Some(&farm.id))?;
    }
    let (person, held) = desk.member(&farm.id, &person).await?;
    if_match.check(&shown(&person, &held))?;
    desk.store.end_role(&held).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// Invites the person of a mail address. The link is in this answer and nowhere
/// else: whoever asks hands it on.
#[utoipa::path(post, path = "/farms/{id}/invitations", tag = "people", operation_id = "invite",
    params(("id" = String, Path)), request_body = InvitationAsked,
    responses((status = 201, body = InvitationMade)))]
pub(crate) async fn invite(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let (email, role) = input::read(&document, |fields| {
        let email = fields::email(fields, "email");
        let role = role(fields);
        Some((email?, role?))
    })?;
    let now = desk.now();
    let by = desk.caller.person_id.as_deref();
    let (id, secret) =
        link::invite(&desk.store, &farm.id, &email, role, by, now).await.map_err(me::failed)?;
    // Where it stands is the page that the link leads to.
    let path = format!("/invitation/{secret}");
    let made = InvitationMade {
        id,
        farm_id: farm.id,
        email: email.to_lowercase(),
        role: role.word(),
        path: Some(path.clone()),
        expires_at: now.plus(link::INVITATION),
    };
    let mut response = created(&path, made)?;
    response.extensions_mut().insert(Secret("path"));
    Ok(response)
}

/// Invitations to a farm that nobody has used and that have not ended.
#[utoipa::path(get, path = "/farms/{id}/invitations", tag = "people", operation_id = "list-invitations",
    params(("id" = String, Path)), responses((status = 200, body = Page<InvitationShown>)))]
pub(crate) async fn invitations(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    whole(desk.invitations(&farm.id).await?)
}

/// One of them.
#[utoipa::path(get, path = "/farms/{id}/invitations/{invitation}", tag = "people", operation_id = "read-invitation",
    params(("id" = String, Path), ("invitation" = String, Path)),
    responses((status = 200, body = InvitationShown)))]
pub(crate) async fn invitation(
    Here(desk): Here,
    Path((farm, invitation)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    ok(desk.invitation(&farm.id, &invitation).await?)
}

/// Takes an invitation back: its link works no more.
#[utoipa::path(delete, path = "/farms/{id}/invitations/{invitation}", tag = "people",
    operation_id = "take-invitation-back",
    params(("id" = String, Path), ("invitation" = String, Path)), responses((status = 204)))]
pub(crate) async fn take_back(
    Here(desk): Here,
    Path((farm, invitation)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let held = desk.invitation(&farm.id, &invitation).await?;
    if_match.check(&held)?;
    if desk.store.end_invitation(&farm.id, &held.id, desk.now()).await? {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    Err(no_invitation(&invitation))
}

fn no_invitation(id: &str) -> Problem {
    Problem::not_found(format!("The farm has no invitation `{id}` that still works."))
}

fn role(fields: &Fields<'_>) -> Option<Role> {
    let role = if fields.require("role") { fields.word("role", &ROLES) } else { None };
    Role::named(role?)
}

impl Visit {
    /// The invitations to a farm, for its advisors.
    async fn invitations(&self, farm_id: &str) -> Result<Vec<InvitationShown>, Problem> {
        if !self.caller.may_review(farm_id) {
            return Err(Problem::not_allowed("an advisor of this farm"));
        }
        let links = self.store.invitations_of(farm_id, self.now()).await?;
        let shown = |Link { id, email, role, made_by, created_at, expires_at, .. }| {
            let role = role.map(|role: Role| role.word());
            InvitationShown { id, email, role, made_by, created_at, expires_at }
        };
        Ok(links.into_iter().map(shown).collect())
    }

    async fn invitation(&self, farm_id: &str, id: &str) -> Result<InvitationShown, Problem> {
        let found = self.invitations(farm_id).await?.into_iter().find(|one| one.id == id);
        found.ok_or_else(|| no_invitation(id))
    }

    /// A person of a farm that the caller sees.
    async fn member(&self, farm_id: &str, person_id: &str) -> Result<(Person, Membership), Problem> {
        let members = self.store.members_of(farm_id).await?;
        let found = members.into_iter().find(|(known, _)| known.id == person_id);
        found.ok_or_else(|| Problem::not_found(format!("The farm has no person `{person_id}`.")))
    }
}

pub(crate) fn shown(person: &Person, membership: &Membership) -> MemberShown {
    let Person { id, name, email, .. } = person.clone();
    MemberShown { id, name, email, role: membership.role.word(), since: membership.since }
}
