//! The people of a farm and their roles, and invitations to it.

use access::{Deed, link};
use axum::Json;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input::{self, Fields};
use serde_json::{Value, json};
use store::{Membership, Person, Role};

use crate::answer::{Answer, ok, whole};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::{fields, me};

const ROLES: [&str; 3] = ["advisor", "grower", "consultant"];

/// Who has a role on a farm.
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let members = desk.store.members_of(&farm.id).await?;
    whole(members.iter().map(|(person, membership)| render(person, membership)).collect())
}

/// Changes the role of a person who has one.
pub(crate) async fn change(
    Here(desk): Here,
    Path((farm, person)): Path<(String, String)>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let role = input::read(&document, role)?;
    let members = desk.store.members_of(&farm.id).await?;
    let Some((person, before)) = members.into_iter().find(|(known, _)| known.id == person) else {
        return Err(no_such_person(&person));
    };
    let now = desk.now();
    desk.store.set_role(&person.id, &farm.id, Some(before.role), role, now).await?;
    let since = if before.role == role { before.since } else { now };
    ok(render(&person, &Membership { role, since, ..before }))
}

/// Ends a person's role: the farm is not there for them any more, from their
/// next request on. Everyone may leave.
pub(crate) async fn remove(
    Here(desk): Here,
    Path((farm, person)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    if desk.caller.person_id.as_deref() == Some(&person) {
        desk.allow_writing()?;
    } else {
        desk.allow(Deed::SetUp, Some(&farm.id))?;
    }
    let members = desk.store.members_of(&farm.id).await?;
    let Some((_, held)) = members.into_iter().find(|(known, _)| known.id == person) else {
        return Err(no_such_person(&person));
    };
    desk.store.end_role(&held).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// Invites the person of a mail address. The link is in this answer and nowhere
/// else: whoever asks hands it on.
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
    let secret = link::invite(&desk.store, &farm.id, &email, role, by, now).await.map_err(me::failed)?;
    let document = json!({
        "farm_id": farm.id, "email": email.to_lowercase(), "role": role.word(),
        "path": format!("/invitation/{secret}"), "expires_at": now.plus(link::INVITATION),
    });
    Ok((StatusCode::CREATED, Json(document)).into_response())
}

fn role(fields: &Fields<'_>) -> Option<Role> {
    let role = if fields.require("role") { fields.word("role", &ROLES) } else { None };
    Role::named(role?)
}

fn no_such_person(id: &str) -> Problem {
    Problem::not_found(format!("The farm has no person `{id}`."))
}

fn render(person: &Person, membership: &Membership) -> Value {
    json!({
        "id": person.id,
        "name": person.name,
        "email": person.email,
        "role": membership.role.word(),
        "since": membership.since,
    })
}
