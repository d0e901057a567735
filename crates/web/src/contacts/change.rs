//! A contact as it stands, to be changed.

use api::{Asked, tag_of};
use axum::extract::{Form as Body, Path, Query};
use chrono_tz::Tz;
use serde_json::{Value, json};
use store::{Contact, Farm};

use super::{of_farm, wishes};
use crate::fields::{Field, Form, Group, Sent, Tried, shown};
use crate::said;
use crate::set_up::{Deed, FormPage};
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

/// Lets a contact hear of a block again.
pub(crate) async fn hear(
    signed: Signed,
    Path((id, contact)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let (farm, contact) = of_farm(&signed, &id, &contact).await?;
    signed.sets_up(&farm.id)?;
    let (block, year) = (sent.raw("block"), sent.raw("year"));
    match signed.0.ask(Asked::delete(&["contacts", &contact.id, "mutes", block, year], sent.raw("tag"))).await
    {
        Ok(_) => on_to(&format!("/farms/{}/contacts/{}?saved=1", farm.id, contact.id)),
        Err(undone) => {
            let tried = Tried::new(format!("hear-{block}-{year}"), sent, undone)?;
            Ok(changing(&signed, &farm, &contact, Some(&tried)).await?.shown())
        }
    }
}

/// The blocks that a contact hears nothing of for now, each with the way back.
async fn mutes(
    signed: &Signed,
    farm: &Farm,
    contact: &Contact,
    blocks: &[(String, String)],
    tried: Option<&Tried>,
) -> Result<Vec<Deed>, Stop> {
    let words = signed.words();
    let mutes = signed.0.read(&["contacts", &contact.id, "mutes"], &[]).await?;
    let deed = |mute: &Value| {
        let (block, year) = (shown(&mute["block_id"]), shown(&mute["year"]));
        let name = blocks.iter().find(|(id, _)| *id == block).map_or(&block, |(_, name)| name);
        let at = mute["at"].as_str().and_then(|at| at.parse().ok()).map(|at| said::dated(at, Tz::UTC));
        let carried = vec![Field::hidden("block", block.as_str()), Field::hidden("year", year.as_str())];
        let mut form =
            Form::deed(words, &format!("hear-{block}-{year}"), words.get("contacts.hear_now"), name)
                .to(format!("/farms/{}/contacts/{}/hears", farm.id, contact.id))
                .held(Some(tag_of(mute)));
        form.groups.push(Group::of(carried));
        Deed {
            head: words.fill("contacts.mute", &[("block", name), ("year", &year)]),
            means: words.fill("contacts.mute_means", &[("at", &at.unwrap_or_default())]),
            form: form.after(tried),
        }
    };
    Ok(mutes["items"].as_array().into_iter().flatten().map(deed).collect())
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
    page.deeds = mutes(signed, farm, contact, &blocks, tried).await?;
    if contact.confirmed_at.is_some() {
        page.said.push(words.get("contacts.told_of_change").to_owned());
    }
    Ok(page.back(format!("/farms/{}/contacts", farm.id), words.get("contacts.to_all")))
}
