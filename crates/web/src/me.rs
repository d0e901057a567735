//! The one who looks: their name, their tokens and sign-ins, and what is kept of them.

use askama::Template;
use axum::extract::{Form, Path};
use axum::http::{HeaderValue, Method, header};
use axum::response::IntoResponse;
use chrono_tz::Tz;
use model::time::Instant;
use serde_json::{Value, json};

use crate::typed::{Field, Typed, back_to};
use crate::visit::{Shown, Signed};
use crate::words::Words;
use crate::{pages, said};

/// The fields of the two forms.
const NAME: [&str; 2] = ["name", "units"];
const TOKEN: [&str; 3] = ["name", "scope", "expires_at"];

#[derive(Template)]
#[template(path = "me.html")]
struct Page {
    words: &'static Words,
    title: String,
    email: String,
    /// Farm and role of each.
    roles: Vec<(String, String, &'static str)>,
    operator: bool,
    name: Field,
    units: Field,
    name_wrong: Option<String>,
    /// A token that was just made; its secret is shown this once.
    made: Option<(String, String)>,
    tokens: Vec<Held>,
    sessions: Vec<Held>,
    token: Vec<Field>,
    token_wrong: Option<String>,
}

/// A token or a sign-in.
struct Held {
    id: String,
    name: String,
    facts: Vec<String>,
    /// Whether it still lets anyone in.
    holds: bool,
    /// Whether it is this browser's.
    this: bool,
}

/// Which form came back.
#[derive(Default)]
struct Sent {
    name: Option<Typed>,
    token: Option<Typed>,
    made: Option<(String, String)>,
}

/// The page.
pub(crate) async fn page(signed: Signed) -> Shown {
    shown(&signed, Sent::default()).await
}

/// Changes their name and the units that they read.
pub(crate) async fn rename(signed: Signed, Form(sent): Form<Vec<(String, String)>>) -> Shown {
    let typed = Typed::of(sent);
    let mut document = typed.document(&NAME);
    document["name"] = json!(typed.text("name"));
    match signed.0.send(Method::PATCH, &["me"], Some(&document)).await {
        Ok(_) => Ok(back_to("/me")),
        Err(refused) => shown(&signed, Sent { name: Some(typed.refused(refused)?), ..Sent::default() }).await,
    }
}

/// Makes a token. Its secret is on the page that answers and nowhere else.
pub(crate) async fn make_token(signed: Signed, Form(sent): Form<Vec<(String, String)>>) -> Shown {
    let typed = Typed::of(sent);
    let mut document = typed.document(&TOKEN);
    // A day is typed; the token ends with its beginning.
    if let Some(day) = typed.given("expires_at") {
        document["expires_at"] = json!(format!("{day}T00:00:00Z"));
    }
    match signed.0.send(Method::POST, &["me", "tokens"], Some(&document)).await {
        Ok(made) => {
            let text = |name: &str| made[name].as_str().unwrap_or_default().to_owned();
            let made = Some((text("name"), text("secret")));
            shown(&signed, Sent { made, ..Sent::default() }).await
        }
        Err(refused) => {
            shown(&signed, Sent { token: Some(typed.refused(refused)?), ..Sent::default() }).await
        }
    }
}

/// Takes a token or a sign-in of theirs back.
pub(crate) async fn revoke(signed: Signed, Path(id): Path<String>) -> Shown {
    signed.0.send(Method::DELETE, &["me", "tokens", &id], None).await?;
    Ok(back_to("/me#tokens"))
}

/// All that is kept of them, as a file.
pub(crate) async fn export(signed: Signed) -> Shown {
    let kept = signed.0.read(&["me", "export"], &[]).await?;
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("application/json")),
        (header::CONTENT_DISPOSITION, HeaderValue::from_static("attachment; filename=\"me.json\"")),
    ];
    Ok((headers, kept.to_string()).into_response())
}

async fn shown(signed: &Signed, sent: Sent) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let me = view.read(&["me"], &[]).await?;
    let held = view.read(&["me", "tokens"], &[]).await?;
    let text = |of: &Value, name: &str| of[name].as_str().unwrap_or_default().to_owned();
    let mut roles = Vec::new();
    for held in &view.caller().memberships {
        let farm = view.store().farm(&held.farm_id).await?.map(|farm| farm.name).unwrap_or_default();
        roles.push((held.farm_id.clone(), farm, held.role.word()));
    }
    let status = [&sent.name, &sent.token].into_iter().flatten().map(Typed::status).next();
    let own_name = text(&me["person"], "name");
    let own_units = text(&me["person"], "units");
    let own = [("name", own_name.as_str()), ("units", own_units.as_str())];
    let name = sent.name.unwrap_or_else(|| Typed::proposed(&own));
    let systems = [("both", "me.units_both"), ("metric", "me.units_metric"), ("us", "me.units_us")];
    let systems = systems.map(|(word, key)| (word.to_owned(), words.get(key).to_owned())).to_vec();
    let token = sent.token.unwrap_or_else(|| Typed::proposed(&[("scope", "read")]));
    let of = |kind: &str| -> Vec<Held> {
        let all = held["items"].as_array().into_iter().flatten();
        let mut all: Vec<Held> =
            all.filter(|one| one["kind"] == kind).map(|one| credential(one, words)).collect();
        all.sort_by_key(|one| (!one.this, !one.holds));
        all
    };
    let page = Page {
        words,
        title: words.get("me.title").to_owned(),
        email: text(&me["person"], "email"),
        roles,
        operator: view.caller().operator,
        name_wrong: name.left(&NAME),
        units: name.field("me", "units", "select", words.get("me.units")).of(systems),
        name: name.field("me", "name", "text", words.get("me.name")).required().complete("name"),
        made: sent.made,
        tokens: of("token"),
        sessions: of("session"),
        token_wrong: token.left(&TOKEN),
        token: token_fields(&token, words),
    };
    Ok(pages::page(status.unwrap_or_default(), &page))
}

fn token_fields(token: &Typed, words: &Words) -> Vec<Field> {
    let scopes = [("read", "me.reads"), ("write", "me.writes")];
    let scopes = scopes.map(|(scope, key)| (scope.to_owned(), words.get(key).to_owned())).to_vec();
    vec![
        token.field("token", "name", "text", words.get("me.token_name")).required(),
        token.field("token", "scope", "select", words.get("me.scope")).of(scopes),
        token.field("token", "expires_at", "date", words.get("me.expires")),
    ]
}

fn credential(of: &Value, words: &Words) -> Held {
    let dated = |name: &str| {
        let at = of[name].as_str().and_then(|at| at.parse::<Instant>().ok());
        at.map(|at| said::dated(at, Tz::UTC))
    };
    let scope = if of["scope"] == "write" { "me.writes" } else { "me.reads" };
    let mut facts = vec![words.get(scope).to_owned()];
    for (name, key) in [
        ("created_at", "me.made_at"),
        ("last_used_at", "me.used_at"),
        ("expires_at", "me.ends_at"),
        ("revoked_at", "me.revoked_at"),
    ] {
        facts.extend(dated(name).map(|at| words.fill(key, &[("at", &at)])));
    }
    Held {
        id: of["id"].as_str().unwrap_or_default().to_owned(),
        name: of["name"].as_str().unwrap_or_default().to_owned(),
        facts,
        holds: of["holds"] == true,
        this: of["this"] == true,
    }
}
