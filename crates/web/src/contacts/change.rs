//! A contact as it stands, to be changed.

use api::Asked;
use axum::extract::{Form as Body, Path, Query};
use serde_json::json;
use store::{Contact, Farm};

use super::{of_farm, wishes};
use crate::fields::{Field, Form, Sent, Tried};
use crate::set_up::FormPage;
use crate::visit::{Shown, Signed, Stop, on_to};

/// Blocks of a farm that may be set apart.
const BLOCKS: u32 = 1_000;

/// The page.
pub(crate) async fn page(
    signed: Signed,
    Path((id, contact)): Path<(String, String)>,
    Query(asked): Query<Sent>,
) -> Shown {
    let (farm, contact) = of_farm(&signed, &id, &contact).await?;
    signed.sets_up(&farm.id)?;
    let mut page = changing(&signed, &farm, &contact, None).await?;
    page.done = asked.has("saved").then(|| signed.words().get("settings.saved").to_owned());
    Ok(page.shown())
}

/// Changes it.
pub(crate) async fn save(
    signed: Signed,
    Path((id, contact)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let (farm, contact) = of_farm(&signed, &id, &contact).await?;
    signed.sets_up(&farm.id)?;
    let document = json!({
        "name": sent.raw("name"),
        "email": sent.raw("email"),
        "wishes": wishes::document(&sent, json!([])),
    });
    match signed.0.ask(Asked::patch(&["contacts", &contact.id], &document, sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/farms/{}/contacts/{}?saved=1", farm.id, contact.id)),
        Err(undone) => {
            let tried = Tried::new("", sent, undone)?;
            Ok(changing(&signed, &farm, &contact, Some(&tried)).await?.shown())
        }
    }
}

async fn changing(
    signed: &Signed,
    farm: &Farm,
    contact: &Contact,
    tried: Option<&Tried>,
) -> Result<FormPage, Stop> {
    let words = signed.words();
    let held = signed.0.ask(Asked::get(&["contacts", &contact.id])).await?;
    let wishes = wishes::read(contact)?;
    let blocks = signed.0.store().blocks(Some(&farm.id), None, BLOCKS).await?;
    let blocks: Vec<_> = blocks.into_iter().map(|block| (block.id, block.name)).collect();
    let mut now = Sent::default();
    now.set("name", &contact.name);
    now.set("email", contact.pending_email.as_ref().unwrap_or(&contact.email));
    wishes::fill(&mut now, &wishes);
    let who = vec![
        Field::line("name", words.get("contacts.name")).needed(),
        Field::email("email", words.get("contacts.email")).hint(words.get("contacts.email_hint")).needed(),
    ];
    let mut groups = wishes::groups(words, who, words.get("contacts.kinds_none"));
    groups.extend(wishes::apart(words, &wishes, &blocks));
    let form = Form::new(words, words.get("contacts.save"), groups).filled(&now).held(held.tag).after(tried);
    let mut page =
        FormPage::new(words, words.fill("contacts.change_title", &[("name", &contact.name)]), form);
    if contact.confirmed_at.is_some() {
        page.said.push(words.get("contacts.told_of_change").to_owned());
    }
    Ok(page.back(format!("/farms/{}/contacts", farm.id), words.get("contacts.to_all")))
}
