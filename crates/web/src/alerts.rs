//! A farm's alerts of a season: what was told, or left untold with the reason.

use std::collections::BTreeMap;

use access::Deed;
use api::Asked;
use askama::Template;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::time::Instant;
use store::{AlertRow, AlertStatus};

use crate::fields::{Form, Sent};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{pages, said};

/// Alerts of a year that the page looks at.
const LOOKED_AT: u32 = 1_000;

#[derive(Template)]
#[template(path = "alerts.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    farm: String,
    year: i32,
    alerts: Vec<Alert>,
    more: bool,
}

/// One alert.
struct Alert {
    id: String,
    block_id: String,
    block: String,
    kind: String,
    raised: String,
    /// How it stands, in sentences.
    stands: Vec<String>,
    /// The button that takes note of it; none where it is not theirs to.
    note: Option<Form>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let farm = signed.farm(&id).await?;
    let (view, words) = (&signed.0, signed.words());
    let year = match asked.text("year") {
        Some(text) => signed.year(text)?,
        None => view.now().local_year(signed.farm_zone(Some(&farm)).await?),
    };
    let (alerts, more) = of_year(&signed, &farm.id, year).await?;
    let notes = signed.may(Deed::Log, &farm);
    let mut blocks: BTreeMap<String, (String, Tz)> = BTreeMap::new();
    let mut shown = Vec::with_capacity(alerts.len());
    for alert in alerts {
        if !blocks.contains_key(&alert.block_id) {
            let Some(block) = view.store().block(&alert.block_id).await? else { continue };
            let zone = signed.zone(&block).await?;
            blocks.insert(alert.block_id.clone(), (block.name, zone));
        }
        let Some((block, zone)) = blocks.get(&alert.block_id) else { continue };
        shown.push(of(alert, (&farm.id, block), *zone, notes, words));
    }
    let page = Page {
        words,
        title: words.fill("alerts.title", &[("farm", &farm.name), ("year", &year)]),
        year,
        alerts: shown,
        more,
        farm_id: farm.id,
        farm: farm.name,
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// Notes that a person took note.
pub(crate) async fn note(signed: Signed, Path((id, alert)): Path<(String, String)>) -> Shown {
    let farm = signed.farm(&id).await?;
    let held = signed.0.store().alert(&alert).await?;
    let year = held.ok_or_else(|| Stop::NotThere(signed.words().get("alerts.not_there").to_owned()))?.year;
    signed.0.ask(Asked::bid(&["alerts", &alert, "acknowledgement"])).await?;
    on_to(&format!("/farms/{}/alerts?year={year}", farm.id))
}

/// The alerts of a bloom year, the latest first, and whether there are more.
async fn of_year(signed: &Signed, farm_id: &str, year: i32) -> Result<(Vec<AlertRow>, bool), Stop> {
    // South of the equator a bloom year's spring begins in the year before.
    let begin = Instant::parse(&format!("{}-07-01T00:00:00Z", year - 1));
    let begin = begin.map_err(|error| Stop::Failed(error.to_string()))?;
    let mut alerts = signed.0.store().alerts_since(begin, Some(farm_id), LOOKED_AT + 1).await?;
    let more = alerts.len() > LOOKED_AT as usize;
    alerts.truncate(LOOKED_AT as usize);
    alerts.retain(|alert| alert.year == year);
    Ok((alerts, more))
}

fn of(
    alert: AlertRow,
    (farm_id, block): (&str, &str),
    zone: Tz,
    notes: bool,
    words: &'static Words,
) -> Alert {
    let told = alert.status == AlertStatus::Told;
    let mut stands = vec![match (&alert.reason, told) {
        (Some(reason), true) => words.fill("alerts.told_since", &[("reason", reason)]),
        (None, true) => words.get("alerts.told").to_owned(),
        (Some(reason), false) => words.fill("alerts.left_since", &[("reason", reason)]),
        (None, false) => words.get("alerts.left").to_owned(),
    }];
    for (at, key) in [(alert.withdrawn_at, "alerts.withdrawn"), (alert.acknowledged_at, "alerts.noted")] {
        stands.extend(at.map(|at| words.fill(key, &[("at", &said::dated(at, zone))])));
    }
    let open = told && alert.acknowledged_at.is_none() && alert.withdrawn_at.is_none();
    let kind = AlertKind::named(&alert.kind);
    let kind = kind.map_or_else(|| alert.kind.clone(), |kind| words.get(key(kind)).to_owned());
    let note = (notes && open).then(|| {
        let form = format!("note-{}", alert.id);
        Form::deed(words, &form, words.get("alerts.note"), &format!("{kind}, {block}"))
            .to(format!("/farms/{farm_id}/alerts/{}/noted", alert.id))
    });
    Alert {
        kind,
        raised: words.fill("alerts.raised", &[("at", &said::dated(alert.raised_at, zone))]),
        stands,
        note,
        id: alert.id,
        block_id: alert.block_id,
        block: block.to_owned(),
    }
}

/// The key of a kind's words.
pub(crate) fn key(kind: AlertKind) -> &'static str {
    match kind {
        AlertKind::CountNow => "alerts.count_now",
        AlertKind::Decide => "alerts.decide",
        AlertKind::Started => "alerts.started",
        AlertKind::HeadsUp => "alerts.heads_up",
        AlertKind::Due => "alerts.due",
        AlertKind::Moved => "alerts.moved",
        AlertKind::Overrun => "alerts.overrun",
        AlertKind::Blind => "alerts.blind",
        AlertKind::Frost => "alerts.frost",
        AlertKind::CheckDamage => "alerts.check_damage",
        AlertKind::BloomCheck => "alerts.bloom_check",
        AlertKind::SlotLost => "alerts.slot_lost",
        AlertKind::Withdrawn => "alerts.taken_back",
    }
}
