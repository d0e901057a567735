//! Who gets a farm's alerts: addresses that their owners have confirmed, and what each
//! wants to hear.

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input::{self, Fields};
use model::time::Instant;
use model::wishes::Wishes;
use serde::Serialize;
use serde_json::Value;
use store::{Contact, Notice, Silenced, Word};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};

/// Someone who gets a farm's alerts.
#[derive(Serialize, ToSchema)]
pub(crate) struct ContactShown {
    id: String,
    farm_id: String,
    name: String,
    /// In small letters.
    email: String,
    /// An address that takes its place once it is confirmed.
    pending_email: Option<String>,
    /// When the owner of `email` confirmed it; nothing goes out before.
    #[schema(value_type = Option<Moment>)]
    confirmed_at: Option<Instant>,
    /// Why nothing goes out: `stopped` by its owner, or `bounced`.
    silenced: Option<&'static str>,
    #[schema(value_type = WishesShown)]
    wishes: Value,
    version: i64,
    #[schema(value_type = Moment)]
    created_at: Instant,
}

/// What a contact wants of the alerts.
#[derive(ToSchema)]
#[schema(as = Wishes)]
#[allow(dead_code, reason = "it stands for the wishes in the document")]
pub(crate) struct WishesShown {
    /// Kinds that come; null for all, an empty list for none.
    #[schema(value_type = Option<Vec<String>>, example = json!(["due", "heads-up"]))]
    kinds: Option<Vec<String>>,
    /// Blocks with kinds of their own, by id; an empty list is none at all.
    #[schema(value_type = Option<std::collections::BTreeMap<String, Vec<String>>>)]
    blocks: Option<std::collections::BTreeMap<String, Vec<String>>>,
    quiet: Option<QuietShown>,
    /// Wall-clock time of a morning digest, like 06:15; it needs `time_zone`.
    #[schema(pattern = "^([01]?[0-9]|2[0-3]):[0-5]?[0-9]$")]
    digest_at: Option<String>,
    /// IANA zone of that time.
    time_zone: Option<String>,
    /// Whether they get what has not reached someone else for 30 minutes.
    stand_in: Option<bool>,
}

/// Hours in which mail waits, on the wall clock of the block.
#[derive(ToSchema)]
#[schema(as = Quiet)]
#[allow(dead_code, reason = "it stands for the wishes in the document")]
pub(crate) struct QuietShown {
    #[schema(pattern = "^([01]?[0-9]|2[0-3]):[0-5]?[0-9]$")]
    from: String,
    #[schema(pattern = "^([01]?[0-9]|2[0-3]):[0-5]?[0-9]$")]
    to: String,
    /// Whether even `due`, `overrun`, `blind` and `withdrawn` wait.
    also_urgent: Option<bool>,
}

/// A contact to add.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct ContactAdded {
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    #[schema(min_length = 1, max_length = 200)]
    name: String,
    #[schema(format = Email, max_length = 254)]
    email: String,
    #[schema(nullable = false)]
    wishes: Option<WishesShown>,
}

/// What may be changed of a contact.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct ContactChange {
    #[schema(nullable = false, min_length = 1, max_length = 200)]
    name: Option<String>,
    /// It takes the place of the address once its owner has confirmed it.
    #[schema(nullable = false, format = Email, max_length = 254)]
    email: Option<String>,
    /// All wishes, in the place of those before.
    #[schema(nullable = false)]
    wishes: Option<WishesShown>,
}

/// Who gets a farm's alerts, beside its list of addresses.
#[utoipa::path(get, path = "/farms/{id}/contacts", tag = "contacts", operation_id = "list-contacts",
    params(("id" = String, Path)), responses((status = 200, body = Page<ContactShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let silenced = desk.store.silenced_of(&farm.id).await?;
    let contacts = desk.store.contacts_of(&farm.id).await?;
    whole(contacts.iter().map(|contact| shown(contact, &silenced)).collect())
}

/// Adds a contact. Its owner gets a mail and agrees on the page that it leads to.
#[utoipa::path(post, path = "/farms/{id}/contacts", tag = "contacts", operation_id = "add-contact",
    params(("id" = String, Path)), request_body = ContactAdded, responses((status = 201, body = ContactShown)))]
pub(crate) async fn add(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let now = desk.now();
    let contact = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let (name, email) = (fields::name(fields, "name"), fields::email(fields, "email"));
        let wishes = wishes(fields).unwrap_or_default();
        Some(Contact {
            id: id.unwrap_or_else(|| desk.new_id()),
            farm_id: farm.id.clone(),
            name: name?,
            email: email?.to_lowercase(),
            pending_email: None,
            asked_at: now,
            confirmed_at: None,
            wishes: wishes.document(),
            version: 1,
            created_at: now,
        })
    })?;
    desk.store.add_contact(&contact, &[asking(&contact, &farm.name)]).await?;
    desk.hand_out();
    created(&format!("/api/v1/contacts/{}", contact.id), shown(&contact, &[]))
}

/// One contact.
#[utoipa::path(get, path = "/contacts/{id}", tag = "contacts", operation_id = "read-contact",
    params(("id" = String, Path)), responses((status = 200, body = ContactShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let contact = desk.contact(&id).await?;
    ok(shown(&contact, &desk.store.silenced_of(&contact.farm_id).await?))
}

/// Changes the fields that are given, and no other. The address as it stands is told.
#[utoipa::path(patch, path = "/contacts/{id}", tag = "contacts", operation_id = "change-contact",
    params(("id" = String, Path)), request_body = ContactChange, responses((status = 200, body = ContactShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let held = desk.contact(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    let silenced = desk.store.silenced_of(&held.farm_id).await?;
    if_match.check(&shown(&held, &silenced))?;
    let now = desk.now();
    let farm = desk.farm(&held.farm_id).await?;
    let anew = input::read(&document, |fields| read_change(fields, &held, now))?;
    if anew == held {
        return changed(shown(&held, &silenced));
    }
    let mut notices = Vec::new();
    if let Some(to) = anew.pending_email.as_ref().filter(|_| anew.pending_email != held.pending_email) {
        notices.push(asking(&anew, &farm.name));
        let word = Word::AddressChanging { farm: farm.name.clone(), to: to.clone() };
        notices.extend(told(&word, &held, now));
    }
    if anew.wishes != held.wishes {
        notices.extend(told(&Word::WishesChanged { farm: farm.name.clone() }, &held, now));
    }
    desk.store.change_contact(&held, &anew, &notices).await?;
    desk.hand_out();
    changed(shown(&desk.contact(&id).await?, &silenced))
}

/// Removes a contact; the address is told.
#[utoipa::path(delete, path = "/contacts/{id}", tag = "contacts", operation_id = "remove-contact",
    params(("id" = String, Path)), responses((status = 204)))]
pub(crate) async fn remove(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let held = desk.contact(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    if_match.check(&shown(&held, &desk.store.silenced_of(&held.farm_id).await?))?;
    let farm = desk.farm(&held.farm_id).await?;
    let word = Word::AddressRemoved { farm: farm.name };
    let notices: Vec<Notice> = told(&word, &held, desk.now()).into_iter().collect();
    desk.store.remove_contact(&held, &notices).await?;
    desk.hand_out();
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// Asks the owner of the address that waits, or that gets no mail any more, to confirm
/// it once more.
#[utoipa::path(post, path = "/contacts/{id}/confirmation", tag = "contacts", operation_id = "ask-for-confirmation",
    params(("id" = String, Path)), responses((status = 200, body = ContactShown)))]
pub(crate) async fn ask(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let held = desk.contact(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    let farm = desk.farm(&held.farm_id).await?;
    let silenced = desk.store.silenced_of(&held.farm_id).await?;
    // Also where mail was stopped or came back: agreeing again lifts that.
    let silent = silenced.iter().any(|silenced| silenced.email == held.email);
    if held.to_confirm().is_some() || silent {
        let anew = Contact { asked_at: desk.now(), ..held.clone() };
        // Once an hour: whoever asks cannot flood an address.
        if desk.now().since(held.asked_at) >= model::time::HOUR {
            desk.store.change_contact(&held, &anew, &[asking(&anew, &farm.name)]).await?;
            desk.hand_out();
        }
    }
    changed(shown(&desk.contact(&id).await?, &silenced))
}

fn read_change(fields: &Fields<'_>, held: &Contact, now: Instant) -> Option<Contact> {
    let mut contact = held.clone();
    if fields.raw().contains_key("name") {
        contact.name = fields::name(fields, "name")?;
    }
    if fields.raw().contains_key("email") {
        let email = fields::email(fields, "email")?.to_lowercase();
        contact.pending_email = Some(email).filter(|email| *email != held.email);
        if contact.pending_email != held.pending_email {
            contact.asked_at = now;
        }
    }
    if let Some(wishes) = wishes(fields) {
        contact.wishes = wishes.document();
    }
    Some(contact)
}

fn wishes(fields: &Fields<'_>) -> Option<Wishes> {
    let table = fields.table("wishes")?;
    let wishes = Wishes::from_fields(&table);
    table.refuse_unknown();
    Some(wishes)
}

/// The mail by which an address is confirmed.
fn asking(contact: &Contact, farm: &str) -> Notice {
    let word = Word::Confirm { contact_id: contact.id.clone(), farm: farm.to_owned() };
    let to = contact.to_confirm().unwrap_or(&contact.email);
    word.notice(&contact.farm_id, to, &contact.asked_at.to_string(), contact.asked_at)
}

/// A notice to the address as it stands, once it is known to be its owner's.
fn told(word: &Word, held: &Contact, now: Instant) -> Option<Notice> {
    held.confirmed_at?;
    Some(word.notice(&held.farm_id, &held.email, &format!("{} {}", held.id, held.version), now))
}

impl Visit {
    /// A contact that must be there.
    pub(crate) async fn contact(&self, id: &str) -> Result<Contact, Problem> {
        let contact = self.store.contact(id).await?;
        contact.ok_or_else(|| Problem::not_found(format!("There is no contact `{id}`.")))
    }
}

fn shown(contact: &Contact, silenced: &[Silenced]) -> ContactShown {
    let silenced = silenced.iter().find(|silenced| silenced.email == contact.email);
    ContactShown {
        id: contact.id.clone(),
        farm_id: contact.farm_id.clone(),
        name: contact.name.clone(),
        email: contact.email.clone(),
        pending_email: contact.pending_email.clone(),
        confirmed_at: contact.confirmed_at,
        silenced: silenced.map(|silenced| silenced.because.word()),
        wishes: contact.wishes.clone(),
        version: contact.version,
        created_at: contact.created_at,
    }
}
