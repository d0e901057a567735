//! A farm: its name, and where its alerts go.

use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use serde_json::{Value, json};
use store::Farm;

use super::{Deed, FormPage};
use crate::fields::{Field, Form, Group, Sent, Tried};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;

fn form(words: &'static Words) -> Form {
    let name = Field::line("name", words.get("farm_form.name")).needed();
    let emails = Field::lines("alert_emails", words.get("farm_form.alert_emails"), 3);
    let emails = emails.hint(words.get("farm_form.alert_emails_hint"));
    Form::new(words, words.get("farm_form.save"), vec![Group::of(vec![name, emails])])
}

fn document(sent: &Sent) -> Value {
    json!({"name": sent.raw("name"), "alert_emails": sent.lines("alert_emails")})
}

fn adding(words: &'static Words, form: Form) -> FormPage {
    let page = FormPage::new(words, words.get("farm_form.new"), form);
    FormPage { said: vec![words.get("farm_form.what_it_is").to_owned()], ..page }
        .back("/begin".to_owned(), words.get("settings.to_steps"))
}

/// The form of a farm that is to be added.
pub(crate) async fn new(signed: Signed) -> Shown {
    signed.operates()?;
    Ok(adding(signed.words(), form(signed.words())).shown())
}

/// Adds it.
pub(crate) async fn add(signed: Signed, Body(sent): Body<Sent>) -> Shown {
    signed.operates()?;
    let words = signed.words();
    match signed.0.ask(Asked::post(&["farms"], &document(&sent))).await {
        Ok(added) => {
            let id = added.document["id"].as_str().unwrap_or_default();
            on_to(&format!("/begin?farm={id}"))
        }
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(adding(words, form(words).after(Some(&tried))).shown())
        }
    }
}

/// The form of a farm as it stands.
async fn changing(signed: &Signed, farm: &Farm, tried: Option<&Tried>) -> Result<FormPage, Stop> {
    let words = signed.words();
    let held = signed.0.ask(Asked::get(&["farms", &farm.id])).await?;
    let mut now = Sent::default();
    now.set("name", &farm.name);
    now.set("alert_emails", farm.alert_emails.join("\n"));
    let form = form(words).filled(&now).held(held.tag.clone()).after(tried);
    let mut page = FormPage::new(words, words.fill("farm_form.change", &[("farm", &farm.name)]), form);
    page.deeds.push(closing(words, farm, held.tag, tried));
    Ok(page.back(format!("/begin?farm={}", farm.id), words.get("settings.to_steps")))
}

/// Closes the farm, or opens it again.
fn closing(words: &'static Words, farm: &Farm, tag: Option<String>, tried: Option<&Tried>) -> Deed {
    let (name, head, means, button, to) = match farm.closed_at {
        None => ("close", "farm_form.close", "farm_form.close_means", "farm_form.close_now", "closed"),
        Some(_) => ("open", "farm_form.open", "farm_form.open_means", "farm_form.open_now", "opened"),
    };
    let form = Form::deed(words, name, words.get(button), &farm.name)
        .to(format!("/farms/{}/{to}", farm.id))
        .held(tag)
        .after(tried);
    Deed { head: words.get(head).to_owned(), means: words.get(means).to_owned(), form }
}

/// Closes it: it is only read from then on.
pub(crate) async fn close(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.0.ask(Asked::bid(&["farms", &farm.id, "closing"])).await?;
    on_to(&format!("/farms/{}", farm.id))
}

/// Opens it again.
pub(crate) async fn open_again(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    match signed.0.ask(Asked::delete(&["farms", &farm.id, "closing"], sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/farms/{}", farm.id)),
        Err(undone) => {
            let tried = Tried::new("open", sent, undone)?;
            Ok(changing(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// The page.
pub(crate) async fn change(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    let mut page = changing(&signed, &farm, None).await?;
    page.done = asked.has("saved").then(|| signed.words().get("settings.saved").to_owned());
    Ok(page.shown())
}

/// Changes it.
pub(crate) async fn save(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    match signed.0.ask(Asked::patch(&["farms", &farm.id], &document(&sent), sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/farms/{}/change?saved=1", farm.id)),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(changing(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}
