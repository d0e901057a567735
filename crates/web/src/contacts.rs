//! Who gets a farm's alerts by mail, which of them, and when.

pub(crate) mod change;
mod wishes;

use std::collections::BTreeMap;

use access::Deed;
use api::{Asked, tag_of};
use askama::Template;
use axum::extract::{Form as Body, Path};
use serde_json::Value;
use store::{Contact, Farm, Silence, Silenced};

use crate::fields::{Field, Form, Sent, Tried, status};
use crate::said::Reader;
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{pages, said};

#[derive(Template)]
#[template(path = "contacts.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    contacts: Vec<ContactShown>,
    /// The farm's own list of addresses, each with what keeps mail from it.
    list: Vec<(String, Option<String>)>,
    /// By which one is added; none where that is not theirs to do.
    form: Option<Form>,
}

struct ContactShown {
    id: String,
    name: String,
    email: String,
    /// Whether mail goes out, in sentences.
    stands: Vec<String>,
    /// Whether nothing goes out.
    silent: bool,
    /// By which the owner is asked once more.
    ask: Option<Form>,
    remove: Option<Form>,
    wishes: Vec<String>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    shown(&signed, farm, None).await
}

/// Adds a contact; its owner is asked by mail.
pub(crate) async fn add(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    let mut document = sent.texts(&["name", "email"]);
    // Nobody is added to hear nothing.
    document["wishes"] = wishes::document(&sent, Value::Null);
    match signed.0.ask(Asked::post(&["farms", &farm.id, "contacts"], &document)).await {
        Ok(_) => on_to(&format!("/farms/{}/contacts", farm.id)),
        Err(undone) => shown(&signed, farm, Some(Tried::new("contact", sent, undone)?)).await,
    }
}

/// Removes a contact; the address is told.
pub(crate) async fn remove(
    signed: Signed,
    Path((id, contact)): Path<(String, String)>,
    Body(sent): Body<Sent>,
) -> Shown {
    let (farm, contact) = of_farm(&signed, &id, &contact).await?;
    match signed.0.ask(Asked::delete(&["contacts", &contact.id], sent.raw("tag"))).await {
        Ok(_) => on_to(&format!("/farms/{}/contacts", farm.id)),
        Err(undone) => {
            let tried = Tried::new(format!("remove-{}", contact.id), sent, undone)?;
            shown(&signed, farm, Some(tried)).await
        }
    }
}

/// Asks the owner of an address once more.
pub(crate) async fn ask(signed: Signed, Path((id, contact)): Path<(String, String)>) -> Shown {
    let (farm, contact) = of_farm(&signed, &id, &contact).await?;
    signed.0.ask(Asked::bid(&["contacts", &contact.id, "confirmation"])).await?;
    on_to(&format!("/farms/{}/contacts", farm.id))
}

/// A contact of a farm, as its address names it.
async fn of_farm(signed: &Signed, farm: &str, contact: &str) -> Result<(Farm, Contact), Stop> {
    let farm = signed.farm(farm).await?;
    let held = signed.0.store().contact(contact).await?.filter(|contact| contact.farm_id == farm.id);
    let held = held.ok_or_else(|| Stop::NotThere(signed.words().get("contacts.not_there").to_owned()))?;
    Ok((farm, held))
}

async fn shown(signed: &Signed, farm: Farm, tried: Option<Tried>) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let sets = signed.may(Deed::SetUp, &farm);
    let reader = signed.reader(signed.farm_zone(Some(&farm)).await?);
    let silenced = view.store().silenced_of(&farm.id).await?;
    let listed = view.read(&["farms", &farm.id, "contacts"], &[]).await?;
    let id = |one: &Value| one["id"].as_str().unwrap_or_default().to_owned();
    let tags: BTreeMap<String, String> =
        listed["items"].as_array().into_iter().flatten().map(|one| (id(one), tag_of(one))).collect();
    let mut contacts = Vec::new();
    for contact in view.store().contacts_of(&farm.id).await? {
        let told = wishes::told(signed, &contact).await?;
        let deed = |name: &str, button: &str, to: &str| {
            Form::deed(words, &format!("{name}-{}", contact.id), button, &contact.name)
                .to(format!("/farms/{}/contacts/{}/{to}", farm.id, contact.id))
        };
        let ask = deed("ask", words.get("contacts.ask"), "asked");
        let remove = deed("remove", words.get("contacts.remove_now"), "removed")
            .held(tags.get(&contact.id).cloned())
            .after(tried.as_ref());
        contacts.push(of(contact, &silenced, told, sets.then_some((ask, remove)), reader));
    }
    let list = farm.alert_emails.iter().map(|email| {
        let because = silenced.iter().find(|one| one.email == email.to_lowercase());
        (email.clone(), because.map(|one| silence(one, reader)))
    });
    let form = sets.then(|| {
        let who = [
            Field::line("name", words.get("contacts.name")),
            Field::email("email", words.get("contacts.email")),
        ];
        let groups = wishes::groups(words, who.map(Field::needed).to_vec(), words.get("contacts.kinds"));
        Form::new(words, words.get("contacts.add_now"), groups)
            .named("contact")
            .to(format!("/farms/{}/contacts#add", farm.id))
            .after(tried.as_ref())
    });
    let page = Page {
        words,
        title: words.fill("contacts.title", &[("farm", &farm.name)]),
        contacts,
        list: list.collect(),
        form,
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(status(tried.as_ref()), &page))
}

/// `deeds` ask the owner once more and remove the contact.
fn of(
    contact: Contact,
    silenced: &[Silenced],
    wishes: Vec<String>,
    deeds: Option<(Form, Form)>,
    reader: Reader,
) -> ContactShown {
    let Reader { zone, words, .. } = reader;
    let silent = silenced.iter().find(|one| one.email == contact.email);
    let mut stands = vec![match contact.confirmed_at {
        Some(at) => words.fill("contacts.confirmed", &[("at", &said::dated(at, zone))]),
        None => words.fill("contacts.waits", &[("at", &said::dated(contact.asked_at, zone))]),
    }];
    if let Some(to) = &contact.pending_email {
        stands.push(words.fill("contacts.changing", &[("email", to)]));
    }
    stands.extend(silent.map(|one| silence(one, reader)));
    let to_ask = contact.to_confirm().is_some() || silent.is_some();
    let (ask, remove) = deeds.unzip();
    ContactShown {
        silent: contact.confirmed_at.is_none() || silent.is_some(),
        ask: ask.filter(|_| to_ask),
        remove,
        id: contact.id,
        name: contact.name,
        email: contact.email,
        stands,
        wishes,
    }
}

fn silence(one: &Silenced, reader: Reader) -> String {
    let key = match one.because {
        Silence::Stopped => "contacts.stopped",
        Silence::Bounced => "contacts.bounced",
    };
    reader.words.fill(key, &[("at", &said::dated(one.at, reader.zone))])
}
