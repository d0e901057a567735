//! Addresses at which a farm's year stands for programs that show calendars.

use api::Asked;
use axum::extract::{Form as Body, Path, State};
use chrono_tz::Tz;
use serde_json::Value;
use store::Farm;

use super::{Deed, FormPage};
use crate::fields::{Field, Form, Group, Sent, Tried, shown as text};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::{Web, said};

async fn shown(signed: &Signed, farm: &Farm, tried: Option<&Tried>) -> Result<FormPage, Stop> {
    let words = signed.words();
    let name =
        Field::line("name", words.get("calendars.name")).hint(words.get("calendars.name_hint")).needed();
    let form = Form::new(words, words.get("calendars.make"), vec![Group::of(vec![name])]).after(tried);
    let mut page = FormPage::new(words, words.fill("calendars.title", &[("farm", &farm.name)]), form);
    page.said.push(words.get("calendars.what_it_is").to_owned());
    page.cautions.push(words.get("calendars.no_alert").to_owned());
    let held = signed.0.read(&["farms", &farm.id, "calendars"], &[]).await?;
    for one in held["items"].as_array().into_iter().flatten() {
        let (id, name) = (text(&one["id"]), text(&one["name"]));
        let dated =
            |at: &Value| at.as_str().and_then(|at| at.parse().ok()).map(|at| said::dated(at, Tz::UTC));
        let made = dated(&one["created_at"]).unwrap_or_default();
        let means = match dated(&one["last_read_at"]) {
            Some(read) => words.fill("calendars.read", &[("made", &made), ("read", &read)]),
            None => words.fill("calendars.never_read", &[("made", &made)]),
        };
        let form = Form::deed(words, &format!("revoke-{id}"), words.get("calendars.revoke"), &name)
            .to(format!("/farms/{}/calendars/{id}/revoked", farm.id));
        page.deeds.push(Deed { head: name, means, form });
    }
    Ok(page.back(format!("/farms/{}", farm.id), words.get("together.to_farm")))
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    Ok(shown(&signed, &farm, None).await?.shown())
}

/// Makes one. Its address is on the page that answers and nowhere else.
pub(crate) async fn make(
    State(web): State<Web>,
    signed: Signed,
    Path(id): Path<String>,
    Body(sent): Body<Sent>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    match signed.0.ask(Asked::post(&["farms", &farm.id, "calendars"], &sent.texts(&["name"]))).await {
        Ok(made) => {
            let mut page = shown(&signed, &farm, None).await?;
            let address = web.post.as_ref().map_or("", |post| post.public_url.trim_end_matches('/'));
            let (name, address) =
                (text(&made.document["name"]), format!("{address}{}", text(&made.document["path"])));
            page.done =
                Some(signed.words().fill("calendars.made", &[("name", &name), ("address", &address)]));
            Ok(page.shown())
        }
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(shown(&signed, &farm, Some(&tried)).await?.shown())
        }
    }
}

/// Revokes one: from the next request on nothing stands at its address.
pub(crate) async fn revoke(signed: Signed, Path((id, calendar)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    signed.sets_up(&farm.id)?;
    // Whether it was read meanwhile, it is to end.
    signed.0.ask(Asked::delete(&["calendars", &calendar], "*")).await?;
    on_to(&format!("/farms/{}/calendars", farm.id))
}
