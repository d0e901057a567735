//! What a contact wants of the alerts, typed and told.

use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::input;
use model::wishes::Wishes;
use serde_json::{Map, Value, json};
use store::Contact;

use crate::alerts::key;
use crate::fields::{Field, Group, Sent, TICKED};
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// What the names of a block's own fields begin with; then comes its id.
const OF_BLOCK: &str = "wishes.blocks.";
/// What the names of the fields begin with that carry the blocks set apart, and that let
/// them go again.
const SET: &str = "set.";
const LET_GO: &str = "together.";
/// Names of the fields by which one more is set apart.
const NEW_BLOCK: &str = "apart.block";
const NEW_KINDS: &str = "apart.kinds";

/// The wishes as the API takes them. Without a kind ticked they are `none`.
pub(super) fn document(sent: &Sent, none: Value) -> Value {
    let kinds: Vec<&str> = sent.all("wishes.kinds").collect();
    let kinds = match kinds.len() {
        0 => none,
        all if all == AlertKind::ALL.len() => Value::Null,
        _ => json!(kinds),
    };
    let mut quiet = Map::new();
    for part in ["from", "to"] {
        let typed = sent.text(&format!("wishes.quiet.{part}"));
        quiet.extend(typed.map(|at| (part.to_owned(), json!(at))));
    }
    let urgent = sent.ticked("wishes.quiet.also_urgent");
    if urgent || !quiet.is_empty() {
        quiet.insert("also_urgent".to_owned(), json!(urgent));
    }
    json!({
        "kinds": kinds,
        "blocks": blocks(sent),
        "quiet": if quiet.is_empty() { Value::Null } else { Value::Object(quiet) },
        "digest_at": sent.text_value("wishes.digest_at"),
        "time_zone": sent.text_value("wishes.time_zone"),
        "stand_in": sent.ticked("wishes.stand_in"),
    })
}

/// Blocks with kinds of their own.
fn blocks(sent: &Sent) -> Map<String, Value> {
    let kinds = |name: &str| json!(sent.all(name).collect::<Vec<_>>());
    let kept = sent.under(SET).filter(|(block, _)| !sent.ticked(&format!("{LET_GO}{block}")));
    let mut blocks: Map<String, Value> =
        kept.map(|(block, _)| (block.to_owned(), kinds(&format!("{OF_BLOCK}{block}")))).collect();
    if let Some(block) = sent.text(NEW_BLOCK) {
        blocks.insert(block.to_owned(), kinds(NEW_KINDS));
    }
    blocks
}

/// Word and words of each kind that can be chosen.
fn kinds(words: &Words) -> Vec<(String, String)> {
    AlertKind::ALL.map(|kind| (kind.word().to_owned(), words.get(key(kind)).to_owned())).to_vec()
}

/// The fields of a contact, those that say who it is first; `label` says which kinds come.
pub(super) fn groups(words: &Words, who: Vec<Field>, label: &str) -> Vec<Group> {
    let line = |name: &str, key: &'static str| Field::line(name, words.get(key));
    let waits = vec![
        line("wishes.quiet.from", "contacts.quiet_from"),
        line("wishes.quiet.to", "contacts.quiet_to"),
        Field::tick("wishes.quiet.also_urgent", words.get("contacts.also_urgent")),
    ];
    let morning =
        vec![line("wishes.digest_at", "contacts.digest_at"), line("wishes.time_zone", "contacts.time_zone")];
    vec![
        Group::of(who),
        Group::of(vec![Field::ticks("wishes.kinds", label, kinds(words))]),
        Group::headed(words.get("contacts.when"), waits),
        Group::headed(words.get("contacts.morning"), morning),
        Group::of(vec![Field::tick("wishes.stand_in", words.get("contacts.stand_in"))]),
    ]
}

/// The fields of blocks that are set apart from the rest, and of one more to be; blocks by
/// id and name.
pub(super) fn apart(words: &Words, wishes: &Wishes, blocks: &[(String, String)]) -> Vec<Group> {
    let name =
        |id: &str| blocks.iter().find(|(known, _)| known == id).map_or(id, |(_, name)| name).to_owned();
    let own = wishes.blocks.keys();
    let mut groups: Vec<Group> = own
        .map(|id| {
            let label = words.fill("contacts.kinds_of", &[("block", &name(id))]);
            let fields = vec![
                Field::hidden(&format!("{SET}{id}"), TICKED),
                Field::ticks(&format!("{OF_BLOCK}{id}"), &label, kinds(words)),
                Field::tick(&format!("{LET_GO}{id}"), words.get("contacts.together")),
            ];
            Group::of(fields)
        })
        .collect();
    let free = blocks.iter().filter(|(id, _)| !wishes.blocks.contains_key(id)).cloned();
    let nothing = (String::new(), words.get("contacts.no_block").to_owned());
    let choices = std::iter::once(nothing).chain(free).collect();
    let fields = vec![
        Field::choice(NEW_BLOCK, words.get("contacts.block"), choices).at("/wishes/blocks"),
        Field::ticks(NEW_KINDS, words.get("contacts.kinds_none"), kinds(words)),
    ];
    groups.push(Group::headed(words.get("contacts.apart"), fields).folded());
    groups
}

/// What the form holds of the wishes as they stand.
pub(super) fn fill(sent: &mut Sent, wishes: &Wishes) {
    let mut tick = |name: &str, kinds: &[AlertKind]| {
        kinds.iter().for_each(|kind| sent.add(name, kind.word()));
    };
    tick("wishes.kinds", wishes.kinds.as_deref().unwrap_or(&AlertKind::ALL));
    for (block, kinds) in &wishes.blocks {
        tick(&format!("{OF_BLOCK}{block}"), kinds);
    }
    let wall = |at: chrono::NaiveTime| at.format("%H:%M").to_string();
    if let Some(quiet) = wishes.quiet {
        sent.set("wishes.quiet.from", wall(quiet.from));
        sent.set("wishes.quiet.to", wall(quiet.to));
        sent.tick("wishes.quiet.also_urgent", quiet.also_urgent);
    }
    sent.set("wishes.digest_at", wishes.digest_at.map(wall).unwrap_or_default());
    sent.set("wishes.time_zone", wishes.zone.map(|zone| zone.name().to_owned()).unwrap_or_default());
    sent.tick("wishes.stand_in", wishes.stand_in);
}

/// The wishes of a contact as they are kept.
pub(super) fn read(contact: &Contact) -> Result<Wishes, Stop> {
    let wishes = input::read(&contact.wishes, |fields| Some(Wishes::from_fields(fields)));
    wishes.map_err(|faults| Stop::Failed(format!("contact {}: {faults}", contact.id)))
}

/// What a contact wants, in sentences.
pub(super) async fn told(signed: &Signed, contact: &Contact) -> Result<Vec<String>, Stop> {
    let words = signed.words();
    let wishes = read(contact)?;
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
