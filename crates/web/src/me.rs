//! The one who looks: their name, their tokens and sign-ins, and what is kept of them.

use api::Asked;
use askama::Template;
use axum::extract::{Form as Body, Path};
use axum::http::{HeaderValue, header};
use axum::response::IntoResponse;
use chrono::{NaiveDate, NaiveTime};
use chrono_tz::Tz;
use model::time::Instant;
use serde_json::{Value, json};

use crate::fields::{Field, Form, Group, Sent, Tried, shown as typed, status};
use crate::visit::{Shown, Signed, on_to};
use crate::words::Words;
use crate::{pages, said};

#[derive(Template)]
#[template(path = "me.html")]
struct Page {
    words: &'static Words,
    title: String,
    email: String,
    /// Farm and role of each.
    roles: Vec<(String, String, &'static str)>,
    operator: bool,
    own: Form,
    /// By which all that is kept of them goes.
    remove: Form,
    /// A token that was just made; its secret is shown this once.
    made: Option<(String, String)>,
    tokens: Vec<Held>,
    sessions: Vec<Held>,
    token: Form,
}

/// A token or a sign-in.
struct Held {
    name: String,
    facts: Vec<String>,
    /// Whether it still lets anyone in.
    holds: bool,
    /// Whether it is this browser's.
    this: bool,
    revoke: Form,
}

/// The page.
pub(crate) async fn page(signed: Signed) -> Shown {
    shown(&signed, None, None).await
}

/// Changes their name and the units that they read.
pub(crate) async fn rename(signed: Signed, Body(sent): Body<Sent>) -> Shown {
    let document = json!({"name": sent.raw("name").trim(), "units": sent.raw("units")});
    match signed.0.ask(Asked::patch(&["me"], &document, sent.raw("tag"))).await {
        Ok(_) => on_to("/me"),
        Err(undone) => shown(&signed, Some(Tried::new("me", sent, undone)?), None).await,
    }
}

/// Makes a token. Its secret is on the page that answers and nowhere else.
pub(crate) async fn make_token(signed: Signed, Body(sent): Body<Sent>) -> Shown {
    let mut document = sent.texts(&["name", "scope", "expires_at"]);
    // A day is typed; the token ends with its beginning on the wall clock of the page.
    if let Some(day) = sent.text("expires_at").and_then(|day| day.parse::<NaiveDate>().ok()) {
        let zone = signed.farm_zone(None).await?;
        document["expires_at"] = json!(Instant::on_wall(day.and_time(NaiveTime::MIN), zone));
    }
    match signed.0.ask(Asked::post(&["me", "tokens"], &document)).await {
        Ok(made) => {
            let made = ["name", "secret"].map(|name| typed(&made.document[name]));
            shown(&signed, None, Some(made.into())).await
        }
        Err(undone) => shown(&signed, Some(Tried::new("token", sent, undone)?), None).await,
    }
}

/// Takes a token or a sign-in of theirs back.
pub(crate) async fn revoke(signed: Signed, Path(id): Path<String>) -> Shown {
    // Whatever became of it meanwhile, such as a use, it is to end.
    signed.0.ask(Asked::delete(&["me", "tokens", &id], "*")).await?;
    on_to("/me#tokens")
}

/// Removes them: name, address, password, roles and tokens.
pub(crate) async fn remove(signed: Signed, Body(sent): Body<Sent>) -> Shown {
    match signed.0.ask(Asked::delete(&["me"], sent.raw("tag"))).await {
        Ok(_) => on_to("/sign-in"),
        Err(undone) => shown(&signed, Some(Tried::new("remove", sent, undone)?), None).await,
    }
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

async fn shown(signed: &Signed, tried: Option<Tried>, made: Option<(String, String)>) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let zone = signed.farm_zone(None).await?;
    let me = view.ask(Asked::get(&["me"])).await?;
    let person = &me.document["person"];
    let held = view.read(&["me", "tokens"], &[]).await?;
    let mut roles = Vec::new();
    for held in &view.caller().memberships {
        let farm = view.store().farm(&held.farm_id).await?.map(|farm| farm.name).unwrap_or_default();
        roles.push((held.farm_id.clone(), farm, held.role.word()));
    }
    let of = |kind: &str| -> Vec<Held> {
        let all = held["items"].as_array().into_iter().flatten();
        let mut all: Vec<Held> =
            all.filter(|one| one["kind"] == kind).map(|one| credential(one, zone, words)).collect();
        all.sort_by_key(|one| (!one.this, !one.holds));
        all
    };
    let page = Page {
        words,
        title: words.get("me.title").to_owned(),
        email: typed(&person["email"]),
        roles,
        operator: view.caller().operator,
        own: own(person, words).held(me.tag.clone()).after(tried.as_ref()),
        remove: Form::deed(words, "remove", words.get("me.remove_now"), "")
            .to("/me/removed#kept")
            .held(me.tag)
            .after(tried.as_ref()),
        made,
        tokens: of("token"),
        sessions: of("session"),
        token: token(words, zone).after(tried.as_ref()),
    };
    Ok(pages::page(status(tried.as_ref()), &page))
}

fn choices(words: &Words, all: &[(&str, &'static str)]) -> Vec<(String, String)> {
    all.iter().map(|(word, key)| ((*word).to_owned(), words.get(key).to_owned())).collect()
}

fn own(person: &Value, words: &'static Words) -> Form {
    let systems = [("both", "me.units_both"), ("metric", "me.units_metric"), ("us", "me.units_us")];
    let fields = vec![
        Field::line("name", words.get("me.name")).value(typed(&person["name"])).needed().complete("name"),
        Field::choice("units", words.get("me.units"), choices(words, &systems))
            .value(typed(&person["units"])),
    ];
    Form::new(words, words.get("me.rename"), vec![Group::of(fields)]).named("me").plain().to("/me")
}

fn token(words: &'static Words, zone: Tz) -> Form {
    let scopes = choices(words, &[("read", "me.reads"), ("write", "me.writes")]);
    let fields = vec![
        Field::line("name", words.get("me.token_name")).needed(),
        Field::choice("scope", words.get("me.scope"), scopes).value("read"),
        Field::date("expires_at", &words.fill("me.expires", &[("zone", &zone.name())])),
    ];
    Form::new(words, words.get("me.make_now"), vec![Group::of(fields)]).named("token").to("/me/tokens")
}

fn credential(of: &Value, zone: Tz, words: &'static Words) -> Held {
    let dated = |name: &str| {
        let at = of[name].as_str().and_then(|at| at.parse::<Instant>().ok());
        at.map(|at| said::dated(at, zone))
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
    let (id, name) = (typed(&of["id"]), typed(&of["name"]));
    Held {
        revoke: Form::deed(words, &format!("held-{id}"), words.get("me.revoke"), &name)
            .to(format!("/me/tokens/{id}/revoked")),
        name,
        facts,
        holds: of["holds"] == true,
        this: of["this"] == true,
    }
}
