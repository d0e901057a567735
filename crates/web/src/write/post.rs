//! A form as it is sent without a script.

use api::NotAdded;
use axum::extract::Form;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect};
use serde_json::{Map, Value, json};

use super::chosen::{Chosen, standing};
use super::typed::{self, Typed, Unread};
use super::{Asked, blocks::Writable, forms, said, shown};
use crate::visit::{Shown, Signed, Stop};

/// Takes a form: one entry, whose id the form bears, so that sent twice it is one.
pub(crate) async fn post(signed: Signed, Form(sent): Form<Typed>) -> Shown {
    let words = signed.words();
    let said_of =
        |name: &str| sent.get(name).map(|text| text.trim().to_owned()).filter(|text| !text.is_empty());
    let asked = || Asked {
        block: said_of("block"),
        what: said_of("what"),
        year: said_of("year"),
        of: said_of("of"),
        done: None,
    };
    let wanted = asked();
    let writable = Writable::of(&signed, wanted.block.as_deref()).await?;
    let chosen = Chosen::of(&signed, &writable, &wanted).await?;
    let Some(block) = &chosen.block else {
        return Err(Stop::NotThere(words.get("log.no_block").to_owned()));
    };
    let form = forms::named(chosen.what).unwrap_or(&forms::ALL[0]);
    let entry = match entry(&signed, form, &sent, &chosen, writable.person.as_deref()).await? {
        Ok(entry) => entry,
        Err(unread) => {
            let wrong = said::faults(&unread, words);
            return shown(&signed, StatusCode::UNPROCESSABLE_ENTITY, asked(), &sent, Some(wrong)).await;
        }
    };
    let (status, wrong) = match signed.0.append(&block.id, chosen.year, entry).await {
        Ok(_) => {
            let back = format!("/log?block={}&what={}&year={}&done=1", block.id, chosen.what, chosen.year);
            return Ok(Redirect::to(&back).into_response());
        }
        Err(NotAdded::Refused(faults)) => (StatusCode::UNPROCESSABLE_ENTITY, said::faults(&faults, words)),
        Err(NotAdded::Conflict(_)) => (StatusCode::CONFLICT, words.get("entries.conflict").to_owned()),
        Err(NotAdded::Failed(why)) => {
            tracing::warn!(why, "an entry from a page was not stored");
            (StatusCode::SERVICE_UNAVAILABLE, words.get("entries.failed").to_owned())
        }
    };
    let mut again = sent.clone();
    if status == StatusCode::CONFLICT {
        // Another entry has this id: sent once more, this is to be one of its own.
        again.remove("id");
    }
    shown(&signed, status, asked(), &again, Some(wrong)).await
}

/// The entry that a form makes: the thing itself, or the correction of an earlier one.
async fn entry(
    signed: &Signed,
    form: &'static forms::Form,
    sent: &Typed,
    chosen: &Chosen,
    person: Option<&str>,
) -> Result<Result<Value, Vec<Unread>>, Stop> {
    let words = signed.words();
    let Some(block) = &chosen.block else { return Err(Stop::NotThere(words.get("log.no_block").to_owned())) };
    let id = sent.get("id").filter(|id| !id.trim().is_empty()).cloned().unwrap_or_else(|| signed.0.new_id());
    let of = sent.get("of").map(|of| of.trim()).filter(|of| !of.is_empty());
    let at = sent.get("at").map(String::as_str).unwrap_or_default();
    let now = signed.0.now();
    let corrects = form.kind != "withdrawal" && of.is_some();
    let before = match of.filter(|_| corrects) {
        None if form.what == "spray-rest" => {
            return Ok(Err(vec![(Some("/of".to_owned()), words.get("log.no_draft").to_owned())]));
        }
        None => Map::new(),
        Some(of) => {
            let rows = signed.0.store().log(&block.id, chosen.year).await?;
            match standing(&rows, of) {
                Some(Value::Object(before)) => before,
                _ => return Ok(Err(vec![(Some("/of".to_owned()), words.get("log.no_entry").to_owned())])),
            }
        }
    };
    let mut fields = match typed::fields(form, sent, block.zone, before, words) {
        Ok(fields) => fields,
        Err(unread) => return Ok(Err(unread)),
    };
    for own in ["id", "received_at"] {
        fields.remove(own);
    }
    fields.insert("kind".to_owned(), json!(form.kind));
    // The rest of a spray leaves its begin as it stands.
    if form.what != "spray-rest" {
        match typed::moment(at, block.zone, words) {
            Ok(at) => fields.insert("at".to_owned(), json!(at)),
            Err(why) => return Ok(Err(vec![(Some("/at".to_owned()), why)])),
        };
    }
    let mut entry = if corrects {
        // The first writer's name stays within; who corrects stands beside it.
        let entry = Value::Object(fields);
        Map::from_iter(
            [("kind", json!("correction")), ("at", json!(now)), ("of", json!(of)), ("entry", entry)]
                .map(|(name, value)| (name.to_owned(), value)),
        )
    } else {
        fields
    };
    entry.insert("id".to_owned(), json!(id));
    if let Some(person) = person {
        entry.insert("by".to_owned(), json!(person));
    }
    Ok(Ok(Value::Object(entry)))
}
