//! What of the page was asked for: block, season, form, and the entry that is
//! corrected.

use std::collections::BTreeMap;

use api::field_log;
use chrono_tz::Tz;
use serde::Serialize;
use serde_json::{Map, Value};
use store::LogEntry;

use super::blocks::{Block, Draft, Writable, drafts};
use super::forms::{As, Field, Form, SPRAY_RECORD, named};
use super::typed::{self, Typed};
use super::{Asked, said};
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// Earlier entries that the page offers to correct; the block's report has all.
const EARLIER: usize = 40;

/// What was asked for.
pub(crate) struct Chosen {
    pub(crate) block: Option<Block>,
    pub(crate) this_year: i32,
    /// The season that the form is for where nobody says another.
    pub(crate) usual_year: i32,
    pub(crate) year: i32,
    pub(crate) what: &'static str,
    /// What stands of the entry that is corrected.
    pub(crate) entry: Option<Value>,
    pub(crate) drafts: Vec<Draft>,
    pub(crate) earlier: Vec<Earlier>,
}

/// An entry of the season, as it can be chosen.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Earlier {
    pub(crate) id: String,
    pub(crate) what: &'static str,
    pub(crate) told: String,
    /// What stands in the fields of its form, as it would be typed.
    values: BTreeMap<&'static str, String>,
    /// The entry as it stands.
    entry: Value,
}

/// A form with its fields.
pub(crate) struct FormShown {
    pub(crate) what: &'static str,
    pub(crate) kind: &'static str,
    pub(crate) name: &'static str,
    pub(crate) lead: &'static str,
    pub(crate) field_work: bool,
    pub(crate) shown: bool,
    /// What its time is called.
    pub(crate) when: &'static str,
    /// A new id, under which one save is one entry.
    pub(crate) id: String,
    pub(crate) at: String,
    pub(crate) zone: String,
    pub(crate) fields: Vec<FieldShown>,
}

/// A field with what stands in it.
pub(crate) struct FieldShown {
    pub(crate) name: &'static str,
    pub(crate) label: String,
    pub(crate) typed: As,
    pub(crate) needed: bool,
    pub(crate) more: bool,
    pub(crate) value: String,
    /// Value and words of what can be chosen.
    pub(crate) options: Vec<(String, String)>,
}

impl Chosen {
    pub(crate) async fn of(signed: &Signed, writable: &Writable, asked: &Asked) -> Result<Chosen, Stop> {
        let not_there = || Stop::NotThere(signed.words().get("log.no_block").to_owned());
        let block = match &asked.block {
            Some(id) => Some(writable.blocks.iter().find(|block| block.id == *id).ok_or_else(not_there)?),
            None => writable.blocks.first(),
        };
        let form = match asked.what.as_deref().filter(|what| !what.is_empty()) {
            Some(what) => named(what)
                .ok_or_else(|| Stop::NotThere(signed.words().fill("log.no_form", &[("what", &what)])))?,
            None => named(block.map_or("open-count", |block| block.wanted)).unwrap_or(&super::forms::ALL[0]),
        };
        let this_year = block.map_or_else(|| signed.0.now().local_year(chrono_tz::UTC), |block| block.year);
        let usual = if form.kind == "return-bloom" { this_year - 1 } else { this_year };
        let year = match asked.year.as_deref().filter(|text| !text.is_empty()) {
            Some(text) => signed.year(text)?,
            None => usual,
        };
        let rows = match block {
            Some(block) => signed.0.store().log(&block.id, year).await?,
            None => Vec::new(),
        };
        let now = signed.0.now();
        let drafts = drafts(&rows, now);
        let entry = asked.of.as_deref().and_then(|id| standing(&rows, id));
        let earlier = block.map(|block| earlier(&rows, block.zone, EARLIER, signed)).unwrap_or_default();
        Ok(Chosen {
            block: block.cloned(),
            this_year,
            usual_year: usual,
            year,
            what: form.what,
            entry,
            drafts,
            earlier,
        })
    }

    /// Seasons to choose from, the newest first.
    pub(crate) fn years(&self) -> Vec<i32> {
        let mut years = vec![self.this_year, self.this_year - 1, self.year];
        years.sort_by_key(|year| std::cmp::Reverse(*year));
        years.dedup();
        years
    }

    /// A form as the page shows it: what was typed before, else what stands in the entry
    /// that is corrected, else empty.
    pub(crate) fn form(
        &self,
        form: &'static Form,
        typed: &Typed,
        words: &'static Words,
        signed: &Signed,
    ) -> FormShown {
        let shown = form.what == self.what;
        let zone = self.block.as_ref().map_or(chrono_tz::UTC, |block| block.zone);
        let nothing = Map::new();
        let entry = match (&self.entry, shown, form.what) {
            (Some(Value::Object(entry)), true, what) if what != "withdrawal" => entry,
            _ => &nothing,
        };
        let before = |name: &str| typed.get(name).filter(|_| shown).cloned();
        let at = before("at").or_else(|| entry.get("at").map(|at| typed::shown(As::Moment, at, zone)));
        let chosen_of = self.earlier_of(form);
        FormShown {
            what: form.what,
            kind: form.kind,
            name: words.get(form.name),
            lead: words.get(form.lead),
            field_work: form.field_work,
            shown,
            when: words.get(if form.what == SPRAY_RECORD { "log.begun" } else { "log.at" }),
            id: before("id").unwrap_or_else(|| signed.0.new_id()),
            at: at.unwrap_or_else(|| typed::on_wall(minute(signed.0.now()), zone)),
            zone: zone.name().to_owned(),
            fields: form
                .fields
                .iter()
                .map(|field| FieldShown {
                    name: field.name,
                    label: said::label(field.name, words),
                    typed: field.typed,
                    needed: field.needed,
                    more: field.more,
                    value: before(field.name).unwrap_or_else(|| {
                        entry
                            .get(field.name)
                            .map(|value| typed::shown(field.typed, value, zone))
                            .unwrap_or_default()
                    }),
                    options: match field.typed {
                        As::One(all) => {
                            all.iter().map(|word| ((*word).to_owned(), word.replace('-', " "))).collect()
                        }
                        As::Either(yes, no) => [("true", yes), ("false", no)]
                            .map(|(value, key)| (value.to_owned(), words.get(key).to_owned()))
                            .to_vec(),
                        As::Entry => chosen_of.clone(),
                        _ => Vec::new(),
                    },
                })
                .collect(),
        }
    }

    /// Where a finished spray is corrected, when a form was asked for that knows only its
    /// begin or only what is left to add: neither its finish nor what became of it.
    pub(crate) fn in_whole(&self, asked: &Asked) -> Option<String> {
        let finished = self.entry.as_ref().is_some_and(is_finished);
        let of = asked.of.as_deref().filter(|_| finished && ["spray", "spray-rest"].contains(&self.what))?;
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("block", self.block.as_ref().map_or("", |block| &block.id))
            .append_pair("year", &self.year.to_string())
            .append_pair("what", SPRAY_RECORD)
            .append_pair("of", of)
            .finish();
        Some(format!("/log?{query}"))
    }

    /// Entries that a form can be about.
    fn earlier_of(&self, form: &Form) -> Vec<(String, String)> {
        if form.kind == "withdrawal" {
            return self.earlier.iter().map(|one| (one.id.clone(), one.told.clone())).collect();
        }
        let zone = self.block.as_ref().map_or(chrono_tz::UTC, |block| block.zone);
        let named = |draft: &Draft| draft.entry["material"].as_str().unwrap_or_default().to_owned();
        self.drafts
            .iter()
            .map(|draft| (draft.id.clone(), format!("{} {}", draft.at.spoken(zone), named(draft))))
            .collect()
    }
}

fn minute(at: model::time::Instant) -> model::time::Instant {
    model::time::Instant(at.0.div_euclid(60) * 60)
}

/// Whether an entry is a spray whose finish is recorded.
fn is_finished(entry: &Value) -> bool {
    entry["kind"] == "spray" && entry["finished_at"].is_string()
}

/// What stands of an entry after its corrections; none where there is no such entry or
/// it was taken back.
pub(crate) fn standing(rows: &[LogEntry], id: &str) -> Option<Value> {
    if rows.iter().any(|row| row.kind == "withdrawal" && row.doc["of"] == id) {
        return None;
    }
    let corrected = rows.iter().rev().find(|row| row.kind == "correction" && row.doc["of"] == id);
    match corrected {
        Some(row) => Some(row.doc["entry"].clone()),
        None => rows.iter().find(|row| row.id == id).map(|row| row.doc.clone()),
    }
}

/// The season's entries as they stand, the latest first.
pub(super) fn earlier(rows: &[LogEntry], zone: Tz, most: usize, signed: &Signed) -> Vec<Earlier> {
    let log = field_log(rows);
    let stand = log.stand(signed.0.now());
    let entries = stand.entries.iter().rev().take(most);
    entries
        .filter_map(|entry| {
            let doc = standing(rows, entry.id)?;
            let form = named(if is_finished(&doc) { SPRAY_RECORD } else { entry.says.kind() })?;
            let first = form.fields.iter().find(|field| field.needed).or_else(|| form.fields.first());
            let typed = |field: &Field| Some(typed::shown(field.typed, doc.get(field.name)?, zone));
            let value = first.and_then(typed);
            let mut values: BTreeMap<_, _> =
                form.fields.iter().filter_map(|field| Some((field.name, typed(field)?))).collect();
            values.insert("at", typed::shown(As::Moment, doc.get("at")?, zone));
            let name = signed.words().get(form.name);
            let brief: String = value.unwrap_or_default().chars().take(60).collect();
            Some(Earlier {
                id: entry.id.to_owned(),
                what: form.what,
                told: format!("{}: {name} {brief}", entry.at.spoken(zone)).trim_end().to_owned(),
                values,
                entry: doc,
            })
        })
        .collect()
}
