//! Who gets a farm's alerts by mail, which of them, and when.

mod wishes;

use access::Deed;
use askama::Template;
use axum::extract::{Form, Path};
use axum::http::Method;
use chrono_tz::Tz;
use store::{Contact, Farm, Silence, Silenced};

use crate::typed::{Field, Typed, back_to};
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, said};

/// The fields of the form; a point parts a field from the one that it stands in.
const FIELDS: [&str; 8] = [
    "name",
    "email",
    "wishes.kinds",
    "wishes.quiet",
    "wishes.quiet.also_urgent",
    "wishes.digest_at",
    "wishes.time_zone",
    "wishes.stand_in",
];

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
    /// Whether contacts are theirs to add and remove.
    sets: bool,
    form: ContactForm,
    wrong: Option<String>,
}

struct ContactShown {
    id: String,
    name: String,
    email: String,
    /// Whether mail goes out, in sentences.
    stands: Vec<String>,
    /// Whether nothing goes out.
    silent: bool,
    /// Whether the owner can be asked once more.
    to_ask: bool,
    wishes: Vec<String>,
}

/// The form by which one is added.
struct ContactForm {
    who: Vec<Field>,
    /// Word, words and whether it is ticked, of each kind.
    kinds: Vec<(&'static str, &'static str, bool)>,
    when: Vec<Field>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>) -> Shown {
    let farm = signed.farm(&id).await?;
    shown(&signed, farm, Typed::default()).await
}

/// Adds a contact; its owner is asked by mail.
pub(crate) async fn add(
    signed: Signed,
    Path(id): Path<String>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Shown {
    let farm = signed.farm(&id).await?;
    let typed = Typed::of(sent);
    let mut document = typed.document(&["name", "email"]);
    document["wishes"] = wishes::document(&typed);
    match signed.0.send(Method::POST, &["farms", &farm.id, "contacts"], Some(&document)).await {
        Ok(_) => Ok(back_to(&format!("/farms/{}/contacts", farm.id))),
        Err(refused) => shown(&signed, farm, typed.refused(refused)?).await,
    }
}

/// Removes a contact; the address is told.
pub(crate) async fn remove(signed: Signed, Path((id, contact)): Path<(String, String)>) -> Shown {
    let farm = of_farm(&signed, &id, &contact).await?;
    signed.0.send(Method::DELETE, &["contacts", &contact], None).await?;
    Ok(back_to(&format!("/farms/{}/contacts", farm.id)))
}

/// Asks the owner of an address once more.
pub(crate) async fn ask(signed: Signed, Path((id, contact)): Path<(String, String)>) -> Shown {
    let farm = of_farm(&signed, &id, &contact).await?;
    signed.0.send(Method::POST, &["contacts", &contact, "confirmation"], None).await?;
    Ok(back_to(&format!("/farms/{}/contacts", farm.id)))
}

/// The farm of a contact, as its address names it.
async fn of_farm(signed: &Signed, farm: &str, contact: &str) -> Result<Farm, Stop> {
    let farm = signed.farm(farm).await?;
    let held = signed.0.store().contact(contact).await?.filter(|contact| contact.farm_id == farm.id);
    held.ok_or_else(|| Stop::NotThere(signed.words().get("contacts.not_there").to_owned()))?;
    Ok(farm)
}

async fn shown(signed: &Signed, farm: Farm, typed: Typed) -> Shown {
    let (view, words) = (&signed.0, signed.words());
    let silenced = view.store().silenced_of(&farm.id).await?;
    let mut contacts = Vec::new();
    for contact in view.store().contacts_of(&farm.id).await? {
        let told = wishes::told(signed, &contact).await?;
        contacts.push(of(contact, &silenced, told, words));
    }
    let list = farm.alert_emails.iter().map(|email| {
        let because = silenced.iter().find(|one| one.email == email.to_lowercase());
        (email.clone(), because.map(|one| silence(one, words)))
    });
    let page = Page {
        words,
        title: words.fill("contacts.title", &[("farm", &farm.name)]),
        contacts,
        list: list.collect(),
        sets: signed.may(Deed::SetUp, &farm),
        form: form(&typed, words),
        wrong: typed.left(&FIELDS),
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(typed.status(), &page))
}

fn form(typed: &Typed, words: &'static Words) -> ContactForm {
    let field = |name, kind, key: &'static str| typed.field("contact", name, kind, words.get(key));
    ContactForm {
        who: vec![
            field("name", "text", "contacts.name").required(),
            field("email", "email", "contacts.email").required(),
        ],
        kinds: wishes::kinds(typed, words),
        when: vec![
            field("wishes.quiet.from", "text", "contacts.quiet_from"),
            field("wishes.quiet.to", "text", "contacts.quiet_to"),
            field("wishes.quiet.also_urgent", "tick", "contacts.also_urgent"),
            field("wishes.digest_at", "text", "contacts.digest_at"),
            field("wishes.time_zone", "text", "contacts.time_zone"),
            field("wishes.stand_in", "tick", "contacts.stand_in"),
        ],
    }
}

fn of(contact: Contact, silenced: &[Silenced], wishes: Vec<String>, words: &Words) -> ContactShown {
    let silent = silenced.iter().find(|one| one.email == contact.email);
    let mut stands = vec![match contact.confirmed_at {
        Some(at) => words.fill("contacts.confirmed", &[("at", &said::dated(at, Tz::UTC))]),
        None => words.fill("contacts.waits", &[("at", &said::dated(contact.asked_at, Tz::UTC))]),
    }];
    if let Some(to) = &contact.pending_email {
        stands.push(words.fill("contacts.changing", &[("email", to)]));
    }
    stands.extend(silent.map(|one| silence(one, words)));
    ContactShown {
        silent: contact.confirmed_at.is_none() || silent.is_some(),
        to_ask: contact.to_confirm().is_some() || silent.is_some(),
        id: contact.id,
        name: contact.name,
        email: contact.email,
        stands,
        wishes,
    }
}

fn silence(one: &Silenced, words: &Words) -> String {
    let key = match one.because {
        Silence::Stopped => "contacts.stopped",
        Silence::Bounced => "contacts.bounced",
    };
    words.fill(key, &[("at", &said::dated(one.at, Tz::UTC))])
}
