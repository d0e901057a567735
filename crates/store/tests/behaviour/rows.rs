//! Rows of an invented farm.

use std::sync::atomic::{AtomicU32, Ordering};

use model::series::{Kind, Reading};
use model::time::{HOUR, Instant};
use serde_json::json;
use store::*;

use crate::suite::{Suite, call};

/// 2013-04-25T00:00:00Z, in a spring that the seasons of the suite lie in.
pub const SPRING: Instant = Instant(1_366_848_000);
/// The bloom year.
pub const YEAR: i32 = 2013;
/// The program's version.
pub const PROGRAM: i64 = 7;

/// An id of its own.
pub fn id(what: &str) -> String {
    static NEXT: AtomicU32 = AtomicU32::new(1);
    format!("{what}-{:06}", NEXT.fetch_add(1, Ordering::Relaxed))
}

pub fn hours(number: i64) -> Instant {
    SPRING.plus(number * HOUR)
}

pub fn farm() -> Farm {
    Farm {
        id: id("farm"),
        name: "Larkmoor".into(),
        alert_emails: vec!["ines@larkmoor.example".into(), "ole@larkmoor.example".into()],
        created_at: SPRING,
        closed_at: None,
    }
}

pub fn site(farm_id: Option<&str>) -> Site {
    Site {
        id: id("site"),
        farm_id: farm_id.map(str::to_owned),
        name: "Lower orchard".into(),
        latitude: 40.6925,
        longitude: -74.1687,
        elevation_m: Some(5.4),
        time_zone: "America/New_York".into(),
        version: 1,
        created_at: SPRING,
    }
}

pub fn station(site_id: &str) -> Source {
    Source {
        id: id("source"),
        site_id: site_id.into(),
        name: "Station by the pump house".into(),
        way: Way::File,
        provider: None,
        cell: None,
        kind: Kind::Station,
        trust: 1,
        mapping: Some(json!({ "unit": "fahrenheit", "where": { "origin": "EWR" } })),
        created_at: SPRING,
    }
}

pub fn feed(site_id: &str, cell: &str) -> Source {
    Source {
        name: "Grid".into(),
        way: Way::Feed,
        provider: Some("sky".into()),
        cell: Some(cell.into()),
        kind: Kind::ModelAnalysis,
        trust: 2,
        mapping: None,
        ..station(site_id)
    }
}

pub fn block(farm_id: &str, site_id: &str) -> Block {
    Block {
        id: id("block"),
        farm_id: farm_id.into(),
        site_id: site_id.into(),
        name: "North Bench".into(),
        details: json!({ "cultivar": "Gala", "style_length_mm": 8.83 }),
        geometry: None,
        version: 1,
        created_at: SPRING,
        archived_at: None,
    }
}

pub fn entry(id: &str, at: Instant, note: &str) -> LogEntry {
    LogEntry {
        id: id.into(),
        at,
        kind: "note".into(),
        doc: json!({ "id": id, "kind": "note", "text": note }),
        received_at: at.plus(60),
    }
}

pub fn readings(from: i64, to: i64) -> Vec<Reading> {
    (from..to).map(|hour| Reading::instant(hours(hour), 10.0 + hour as f64 / 7.0)).collect()
}

/// A farm with a site, a station and blocks, all stored.
pub struct Orchard {
    pub farm: Farm,
    pub site: Site,
    pub station: Source,
    pub blocks: Vec<Block>,
}

impl Orchard {
    pub async fn planted(suite: &Suite, blocks: usize) -> Orchard {
        let farm = farm();
        call!(suite, add_farm(&farm)).unwrap();
        let site = site(Some(&farm.id));
        call!(suite, add_site(&site)).unwrap();
        let station = station(&site.id);
        call!(suite, add_source(&station)).unwrap();
        let blocks: Vec<Block> = (0..blocks).map(|_| block(&farm.id, &site.id)).collect();
        for block in &blocks {
            call!(suite, add_block(block)).unwrap();
        }
        Orchard { farm, site, station, blocks }
    }

    /// With one block and a plan, so that a season has begun.
    pub async fn in_bloom(suite: &Suite) -> Orchard {
        let orchard = Orchard::planted(suite, 1).await;
        call!(suite, set_plan(&orchard.blocks[0].id, YEAR, 0, &json!([{ "mark": 0.6 }]), SPRING)).unwrap();
        orchard
    }

    pub fn block(&self) -> &str {
        &self.blocks[0].id
    }

    /// The stale seasons of this orchard at `now`.
    pub async fn stale(&self, suite: &Suite, now: Instant) -> Vec<Stale> {
        let mut mine = Vec::new();
        let mut after = None;
        loop {
            let page = call!(suite, stale_seasons(now, PROGRAM, after.as_ref(), 100)).unwrap();
            let Some(last) = page.last() else { return mine };
            after = Some(last.key());
            mine.extend(page.into_iter().filter(|stale| stale.farm.id == self.farm.id));
        }
    }
}

/// A stale season as reckoned, with alerts.
pub fn reckoned(stale: &Stale, alerts: Vec<AlertWrite>) -> Reckoned {
    Reckoned {
        block_id: stale.block.id.clone(),
        year: stale.year,
        versions: stale.versions,
        look_again_at: None,
        state: "growing".into(),
        doc: json!({ "state": "growing", "progress": 0.1 + 0.2 }),
        alerts,
        expected: Vec::new(),
    }
}

pub fn alert(block_id: &str, kind: &str, status: AlertStatus) -> AlertRow {
    AlertRow {
        id: id("alert"),
        block_id: block_id.into(),
        year: YEAR,
        kind: kind.into(),
        subject: "start".into(),
        generation: 1,
        status,
        reason: (status == AlertStatus::Skipped).then(|| "too old to be of use".into()),
        about: json!({ "reached_at": "2013-05-01T17:10:00Z" }),
        raised_at: SPRING,
        useful_until: hours(100_000),
        withdrawn_at: None,
        acknowledged_at: None,
        mailed: false,
    }
}

pub fn new_alert(alert: &AlertRow, recipients: &[&str]) -> AlertWrite {
    AlertWrite::New { alert: alert.clone(), to: addressed(recipients) }
}

pub fn message(recipient: &str, composed_at: Instant) -> Message {
    let id = id("message");
    Message {
        header_id: format!("<{id}@bloomtide.example>"),
        purpose: Purpose::Alerts,
        recipient: recipient.into(),
        body: "Subject: North Bench\r\n\r\nSpray is due.\r\n".into(),
        composed_at,
        state: MessageState::Ready,
        attempts: 0,
        next_try_at: Some(composed_at),
        last_error: None,
        sent_at: None,
        useful_until: None,
        id,
    }
}

/// Recipients to whom an alert goes out.
pub fn addressed(recipients: &[&str]) -> Vec<Addressed> {
    recipients.iter().map(|&to| Addressed::sent(to, "for tests")).collect()
}
