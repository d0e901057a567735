//! What a contact wants of the alerts, typed and told.

use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::input;
use model::wishes::Wishes;
use serde_json::{Value, json};
use store::Contact;

use crate::alerts::key;
use crate::typed::Typed;
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// The wishes as the API takes them. Without a kind ticked all come: nobody is added to
/// hear nothing.
pub(super) fn document(typed: &Typed) -> Value {
    let mut wishes = json!({});
    let kinds = typed.all("wishes.kinds");
    if !kinds.is_empty() {
        wishes["kinds"] = json!(kinds);
    }
    let quiet = typed.document(&["wishes.quiet.from", "wishes.quiet.to"]);
    let urgent = typed.ticked("wishes.quiet.also_urgent");
    if quiet != json!({}) || urgent {
        wishes["quiet"] = json!({"also_urgent": urgent});
        for (name, part) in [("wishes.quiet.from", "from"), ("wishes.quiet.to", "to")] {
            if let Some(at) = typed.given(name) {
                wishes["quiet"][part] = json!(at);
            }
        }
    }
    for (name, part) in [("wishes.digest_at", "digest_at"), ("wishes.time_zone", "time_zone")] {
        if let Some(text) = typed.given(name) {
            wishes[part] = json!(text);
        }
    }
    if typed.ticked("wishes.stand_in") {
        wishes["stand_in"] = json!(true);
    }
    wishes
}

/// Word, words and whether it is ticked, of each kind that can be chosen.
pub(super) fn kinds(typed: &Typed, words: &'static Words) -> Vec<(&'static str, &'static str, bool)> {
    let ticked = typed.all("wishes.kinds");
    AlertKind::ALL.map(|kind| (kind.word(), words.get(key(kind)), ticked.contains(&kind.word()))).to_vec()
}

/// What a contact wants, in sentences.
pub(super) async fn told(signed: &Signed, contact: &Contact) -> Result<Vec<String>, Stop> {
    let words = signed.words();
    let wishes = input::read(&contact.wishes, |fields| Some(Wishes::from_fields(fields)));
    let wishes = wishes.map_err(|faults| Stop::Failed(format!("contact {}: {faults}", contact.id)))?;
    let listed = |kinds: &[AlertKind]| {
        let all: Vec<&str> = kinds.iter().map(|kind| words.get(key(*kind))).collect();
        if all.is_empty() { words.get("contacts.no_kind").to_owned() } else { all.join("; ") }
    };
    let mut told = vec![match &wishes.kinds {
        None => words.get("contacts.all_kinds").to_owned(),
        Some(kinds) => words.fill("contacts.kinds_are", &[("kinds", &listed(kinds))]),
    }];
    for (block, kinds) in &wishes.blocks {
        let name = signed.0.store().block(block).await?.map_or_else(|| block.clone(), |block| block.name);
        told.push(words.fill("contacts.of_block", &[("block", &name), ("kinds", &listed(kinds))]));
    }
    match wishes.quiet {
        None => told.push(words.get("contacts.never_quiet").to_owned()),
        Some(quiet) => {
            let key = if quiet.also_urgent { "contacts.quiet_all" } else { "contacts.quiet" };
            told.push(
                words.fill(key, &[("from", &quiet.from.format("%H:%M")), ("to", &quiet.to.format("%H:%M"))]),
            );
        }
    }
    if let Some(at) = wishes.digest_at {
        let zone = wishes.zone.unwrap_or(Tz::UTC);
        told.push(words.fill("contacts.digest", &[("at", &at.format("%H:%M")), ("zone", &zone.name())]));
    }
    if wishes.stand_in {
        told.push(words.get("contacts.stands_in").to_owned());
    }
    Ok(told)
}
