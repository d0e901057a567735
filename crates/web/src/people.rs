//! The people of a farm with their roles, and invitations to it.

use access::Deed;
use askama::Template;
use axum::extract::{Form, Path, State};
use axum::http::Method;
use chrono_tz::Tz;
use serde_json::Value;
use store::{Farm, Role};

use crate::typed::{Field, Typed, back_to};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{Web, pages, said};

/// The fields of an invitation, which the API takes under the same names.
const FIELDS: [&str; 2] = ["email", "role"];

#[derive(Template)]
#[template(path = "people.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    people: Vec<PersonShown>,
    /// Whether roles are theirs to give.
    gives: bool,
    /// The link of an invitation that was just made; it is shown this once.
    made: Option<Made>,
    /// Those that still work; none for who may not read them.
    invitations: Option<Vec<Invitation>>,
    /// The form of an invitation; none for who may not.
    form: Option<Vec<Field>>,
    wrong: Option<String>,
}

struct PersonShown {
    id: String,
    name: String,
    email: String,
    role: &'static str,
    since: String,
    /// Whether it is who looks.
    own: bool,
    /// The field by which the role is changed.
    change: Field,
}

struct Made {
    head: String,
    link: String,
}

struct Invitation {
    id: String,
    email: String,
    said: String,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    shown(&signed, farm, Typed::proposed(&[("role", "grower")]), None).await
}

/// Invites the person of an address.
pub(crate) async fn invite(
    State(web): State<Web>,
    signed: Signed,
    Path(id): Path<String>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let typed = Typed::of(sent);
    let document = typed.document(&FIELDS);
    match signed.0.send(Method::POST, &["farms", &farm.id, "invitations"], Some(&document)).await {
        Ok(made) => {
            let made = link(&web, &signed, &made);
            shown(&signed, farm, Typed::proposed(&[("role", "grower")]), Some(made)).await
        }
        Err(refused) => shown(&signed, farm, typed.refused(refused)?, None).await,
    }
}

/// The link in full where the server knows its own address.
fn link(web: &Web, signed: &Signed, made: &Value) -> Made {
    let text = |name: &str| made[name].as_str().unwrap_or_default();
    let address = web.post.as_ref().map_or("", |post| post.public_url.trim_end_matches('/'));
    let ends = text("expires_at").parse().map_or(String::new(), |at| said::dated(at, Tz::UTC));
    Made {
        head: signed.words().fill("people.made", &[("email", &text("email")), ("ends", &ends)]),
        link: format!("{address}{}", text("path")),
    }
}

/// Takes an invitation back.
pub(crate) async fn take_back(signed: Signed, Path((id, invitation)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    let path = ["farms", &farm.id, "invitations", &invitation];
    signed.0.send(Method::DELETE, &path, None).await?;
    Ok(back_to(&format!("/farms/{}/people#invitations", farm.id)))
}

/// Changes someone's role.
pub(crate) async fn change(
    signed: Signed,
    Path((id, person)): Path<(String, String)>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let document = Typed::of(sent).document(&["role"]);
    let path = ["farms", &farm.id, "people", &person];
    signed.0.send(Method::PUT, &path, Some(&document)).await?;
    Ok(back_to(&format!("/farms/{}/people", farm.id)))
}

/// Ends someone's role; whoever ends their own has left.
pub(crate) async fn end(signed: Signed, Path((id, person)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    let path = ["farms", &farm.id, "people", &person];
    signed.0.send(Method::DELETE, &path, None).await?;
    let caller = signed.0.caller();
    let left = caller.person_id.as_deref() == Some(&person) && !caller.operator;
    Ok(back_to(&if left { "/".to_owned() } else { format!("/farms/{}/people", farm.id) }))
}

async fn shown(signed: &Signed, farm: Farm, typed: Typed, made: Option<Made>) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let gives = signed.may(Deed::SetUp, &farm);
    let members = view.store().members_of(&farm.id).await?;
    let own = view.caller().person_id.clone();
    let invitations = match view.caller().may_review(&farm.id) {
        true => Some(invitations(signed, &farm, &members).await?),
        false => None,
    };
    let people = members.into_iter().map(|(person, held)| {
        let now = Typed::proposed(&[("role", held.role.word())]);
        PersonShown {
            change: now
                .field(&format!("person-{}", person.id), "role", "select", words.get("people.role"))
                .of(roles()),
            own: own.as_deref() == Some(&person.id),
            since: words.fill("people.since", &[("at", &said::dated(held.since, Tz::UTC))]),
            role: held.role.word(),
            id: person.id,
            name: person.name,
            email: person.email,
        }
    });
    let form = gives.then(|| {
        vec![
            typed.field("invite", "email", "email", words.get("people.email")).required(),
            typed.field("invite", "role", "select", words.get("people.role")).of(roles()),
        ]
    });
    let page = Page {
        words,
        title: words.fill("people.title", &[("farm", &farm.name)]),
        people: people.collect(),
        gives,
        made,
        invitations,
        form,
        wrong: typed.left(&FIELDS),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(typed.status(), &page))
}

/// Each role, under the word that the API takes.
fn roles() -> Vec<(String, String)> {
    let said = |role: Role| (role.word().to_owned(), role.word().to_owned());
    [Role::Advisor, Role::Grower, Role::Consultant].map(said).to_vec()
}

async fn invitations(
    signed: &Signed,
    farm: &Farm,
    members: &[(store::Person, store::Membership)],
) -> Result<Vec<Invitation>, Stop> {
    let words = signed.words();
    let open = signed.0.read(&["farms", &farm.id, "invitations"], &[]).await?;
    let text = |of: &Value, name: &str| of[name].as_str().unwrap_or_default().to_owned();
    let dated = |of: &Value, name: &str| {
        of[name].as_str().and_then(|at| at.parse().ok()).map_or(String::new(), |at| said::dated(at, Tz::UTC))
    };
    let row = |of: &Value| {
        let by = members.iter().find(|(person, _)| of["made_by"] == person.id.as_str());
        let by = by.map_or(words.get("people.someone"), |(person, _)| person.name.as_str());
        let role = text(of, "role");
        let (made, ends) = (dated(of, "created_at"), dated(of, "expires_at"));
        Invitation {
            id: text(of, "id"),
            email: text(of, "email"),
            said: words
                .fill("people.invited", &[("role", &role), ("by", &by), ("made", &made), ("ends", &ends)]),
        }
    };
    Ok(open["items"].as_array().into_iter().flatten().map(row).collect())
}
