//! The people of a farm with their roles, and invitations to it.

use access::Deed;
use api::{Asked, tag_of};
use askama::Template;
use axum::extract::{Form as Body, Path, State};
use chrono_tz::Tz;
use serde_json::Value;
use store::{Farm, Role};

use crate::fields::{Field, Form, Group, Sent, Tried, status};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{Web, pages, said};

#[derive(Template)]
#[template(path = "people.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    people: Vec<PersonShown>,
    /// The link of an invitation that was just made; it is shown this once.
    made: Option<Made>,
    /// Those that still work; none for who may not read them.
    invitations: Option<Vec<Invitation>>,
    /// The form of an invitation; none for who may not.
    form: Option<Form>,
}

struct PersonShown {
    id: String,
    name: String,
    email: String,
    role: String,
    since: String,
    /// Whether it is who looks.
    own: bool,
    /// By which the role is changed, and ended; none for who may not.
    change: Option<Form>,
    end: Option<Form>,
}

struct Made {
    head: String,
    link: String,
}

struct Invitation {
    email: String,
    said: String,
    take_back: Option<Form>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    shown(&signed, farm, None, None).await
}

/// Invites the person of an address.
pub(crate) async fn invite(
    State(web): State<Web>,
    signed: Signed,
    Path(id): Path<String>,
    Body(sent): Body<Sent>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let document = sent.texts(&["email", "role"]);
    match signed.0.ask(Asked::post(&["farms", &farm.id, "invitations"], &document)).await {
        Ok(made) => {
            let made = link(&web, &signed, &made.document, signed.farm_zone(Some(&farm)).await?);
            shown(&signed, farm, None, Some(made)).await
        }
        Err(undone) => shown(&signed, farm, Some(Tried::new("invite", sent, undone)?), None).await,
    }
}

/// The link in full where the server knows its own address.
fn link(web: &Web, signed: &Signed, made: &Value, zone: Tz) -> Made {
    let address = web.post.as_ref().map_or("", |post| post.public_url.trim_end_matches('/'));
    let ends = dated(made, "expires_at", zone);
    Made {
        head: signed.words().fill("people.made", &[("email", &text(made, "email")), ("ends", &ends)]),
        link: format!("{address}{}", text(made, "path")),
    }
}

/// Takes an invitation back.
pub(crate) async fn take_back(signed: Signed, Path((id, invitation)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    // It is made and ends, and is never changed.
    signed.0.ask(Asked::delete(&["farms", &farm.id, "invitations", &invitation], "*")).await?;
    on_to(&format!("/farms/{}/people#invitations", farm.id))
}

/// Changes someone's role.
pub(crate) async fn change(
    signed: Signed,
    Path((id, person)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let path = ["farms", &farm.id, "people", &person];
    match signed.0.ask(Asked::put(&path, &sent.texts(&["role"]), Some(sent.raw("tag")))).await {
        Ok(_) => on_to(&format!("/farms/{}/people", farm.id)),
        Err(undone) => {
            let tried = Tried::new(format!("change-{person}"), sent, undone)?;
            shown(&signed, farm, Some(tried), None).await
        }
    }
}

/// Ends someone's role; whoever ends their own has left.
pub(crate) async fn end(
    signed: Signed,
    Path((id, person)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let caller = signed.0.caller();
    match signed.0.ask(Asked::delete(&["farms", &farm.id, "people", &person], sent.raw("tag"))).await {
        Ok(_) if caller.person_id.as_deref() == Some(&person) && !caller.operator => on_to("/"),
        Ok(_) => on_to(&format!("/farms/{}/people", farm.id)),
        Err(undone) => {
            let tried = Tried::new(format!("end-{person}"), sent, undone)?;
            shown(&signed, farm, Some(tried), None).await
        }
    }
}

async fn shown(signed: &Signed, farm: Farm, tried: Option<Tried>, made: Option<Made>) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let gives = signed.may(Deed::SetUp, &farm);
    let zone = signed.farm_zone(Some(&farm)).await?;
    let members = view.read(&["farms", &farm.id, "people"], &[]).await?;
    let members = members["items"].as_array().cloned().unwrap_or_default();
    let own = view.caller().person_id.as_deref();
    let invitations = match view.caller().may_review(&farm.id) {
        true => Some(invitations(signed, &farm, &members, (gives, zone)).await?),
        false => None,
    };
    let people = members.iter().map(|member| {
        let (id, name) = (text(member, "id"), text(member, "name"));
        let to = |form: Form, deed: &str| {
            form.to(format!("/farms/{}/people/{id}/{deed}", farm.id))
                .held(Some(tag_of(member)))
                .after(tried.as_ref())
        };
        let role = Field::choice("role", words.get("people.role"), roles()).value(text(member, "role"));
        let mut change = Form::deed(words, &format!("change-{id}"), words.get("people.change_now"), &name);
        change.groups.push(Group::of(vec![role]));
        let end = Form::deed(words, &format!("end-{id}"), words.get("people.end_now"), &name);
        let is_own = own == Some(id.as_str());
        PersonShown {
            change: gives.then(|| to(change, "role")),
            end: (gives || is_own).then(|| to(end, "end")),
            own: is_own,
            since: words.fill("people.since", &[("at", &dated(member, "since", zone))]),
            role: text(member, "role"),
            email: text(member, "email"),
            id,
            name,
        }
    });
    let form = gives.then(|| {
        let fields = vec![
            Field::email("email", words.get("people.email")).needed(),
            Field::choice("role", words.get("people.role"), roles()).value(Role::Grower.word()),
        ];
        Form::new(words, words.get("people.invite_now"), vec![Group::of(fields)])
            .named("invite")
            .to(format!("/farms/{}/people#invite", farm.id))
            .after(tried.as_ref())
    });
    let page = Page {
        words,
        title: words.fill("people.title", &[("farm", &farm.name)]),
        people: people.collect(),
        made,
        invitations,
        form,
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(status(tried.as_ref()), &page))
}

fn text(of: &Value, name: &str) -> String {
    of[name].as_str().unwrap_or_default().to_owned()
}

fn dated(of: &Value, name: &str, zone: Tz) -> String {
    of[name].as_str().and_then(|at| at.parse().ok()).map_or(String::new(), |at| said::dated(at, zone))
}

/// Each role, under the word that the API takes.
fn roles() -> Vec<(String, String)> {
    let said = |role: Role| (role.word().to_owned(), role.word().to_owned());
    [Role::Advisor, Role::Grower, Role::Consultant].map(said).to_vec()
}

async fn invitations(
    signed: &Signed,
    farm: &Farm,
    members: &[Value],
    (gives, zone): (bool, Tz),
) -> Result<Vec<Invitation>, Stop> {
    let words = signed.words();
    let open = signed.0.read(&["farms", &farm.id, "invitations"], &[]).await?;
    let row = |of: &Value| {
        let by = members.iter().find(|member| of["made_by"] == member["id"]);
        let by = by.map_or(words.get("people.someone").to_owned(), |member| text(member, "name"));
        let (id, email, role) = (text(of, "id"), text(of, "email"), text(of, "role"));
        let (made, ends) = (dated(of, "created_at", zone), dated(of, "expires_at", zone));
        let take_back = Form::deed(words, &format!("invitation-{id}"), words.get("people.take_back"), &email)
            .to(format!("/farms/{}/invitations/{id}/taken-back", farm.id));
        Invitation {
            email,
            said: words
                .fill("people.invited", &[("role", &role), ("by", &by), ("made", &made), ("ends", &ends)]),
            take_back: gives.then_some(take_back),
        }
    };
    Ok(open["items"].as_array().into_iter().flatten().map(row).collect())
}
