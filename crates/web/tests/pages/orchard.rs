//! A spring on one farm: the block North Bench on the real readings of EWR, 2013,
//! with everything that a season can hold.

use std::sync::Arc;

use model::field_log::{Entry, FieldLog};
use model::growth::{Course, Growth};
use model::plan::{Plan, VERDICT_TABLE};
use model::pollination::Bees;
use model::season;
use model::series::{Kind, Reading, Series};
use model::site::Place;
use model::time::{Instant, zone};
use model::units::TemperatureUnit;
use serde_json::{Value, json};
use store::{AlertWrite, Block, Farm, LogEntry, Reckoned, Site, Source, Way};

use crate::house::{House, shipped_catalogue};

/// After the spring's last count.
pub const AFTER: &str = "2013-06-03T12:00:00Z";
/// Text that would be markup if it were not escaped.
pub const SHARP: &str = "<b>drift</b> & \"wind\"";

/// The log of North Bench; every time is New York's.
pub fn log() -> Vec<Value> {
    let at = |day: &str| format!("2013-{day}:00-04:00");
    vec![
        json!({"id": "a01", "kind": "bud-count", "at": at("04-10T09:00"), "buds_per_tree": [310, 280, 340, 295, 322]}),
        json!({"id": "a02", "kind": "stage", "at": at("04-20T09:00"), "stage": "full-pink"}),
        json!({"id": "a03", "kind": "damage-count", "at": at("04-24T10:00"), "kings_alive": 41, "kings_dead": 9,
            "laterals_alive": 180, "laterals_dead": 20, "clusters_examined": 50}),
        json!({"id": "a04", "kind": "decision", "at": at("04-26T08:00"), "thin": true, "by": "Ines",
            "reason": format!("enough kings; {SHARP}")}),
        json!({"id": "a05", "kind": "open-count", "at": at("04-28T10:00"), "open_per_tree": [41, 66, 58, 47, 73]}),
        json!({"id": "a06", "kind": "open-count", "at": at("04-29T10:00"), "open_per_tree": [96, 131, 104, 122, 141]}),
        json!({"id": "a07", "kind": "spray", "at": at("05-01T18:00"), "finished_at": at("05-01T20:20"),
            "material": "ammonium-thiosulfate", "product": "wrong one"}),
        json!({"id": "a08", "kind": "correction", "at": at("05-02T08:00"), "of": "a07", "entry": {
            "kind": "spray", "at": at("05-01T19:00"), "finished_at": at("05-01T20:20"),
            "material": "ammonium-thiosulfate", "product": SHARP, "total_amount": "10", "total_unit": "L",
            "applicator": "Tom Ash", "reentry_hours": 24, "by": "Tom"}}),
        json!({"id": "a09", "kind": "spray", "at": at("05-03T19:00"), "finished_at": at("05-03T20:20"),
            "material": "ammonium-thiosulfate"}),
        json!({"id": "a10", "kind": "spray", "at": at("05-05T07:00"), "material": "streptomycin", "share_of_block": 0.5}),
        json!({"id": "a11", "kind": "note", "at": at("05-05T08:00"), "text": SHARP}),
        json!({"id": "a12", "kind": "pollination", "at": at("04-26T08:00"), "hives_in": 6}),
        json!({"id": "a13", "kind": "bloom-end", "at": at("05-06T10:00")}),
        json!({"id": "a14", "kind": "set-count", "at": at("06-02T10:00"), "fruit_per_tree": [120, 141, 133, 128]}),
        json!({"id": "a15", "kind": "set-count", "at": at("06-02T11:00"), "fruit_per_tree": [260, 301, 288],
            "group": "unsprayed"}),
    ]
}

/// What was agreed for it.
pub fn plan() -> Value {
    json!({"sprays": [
        {"material": "ammonium-thiosulfate", "mark": 0.60},
        {"material": "ammonium-thiosulfate", "mark": 0.60},
    ]})
}

impl House {
    /// The farms `alder` and `elder`, the one with the block `bench` and no season,
    /// the other with the block `bend`.
    pub async fn planted() -> House {
        let house = House::new().await;
        house.set_clock(AFTER);
        let now = house.now();
        let elder = Farm {
            id: "elder".into(),
            name: "Elder Farm".into(),
            alert_emails: vec![],
            created_at: now,
            closed_at: None,
        };
        house.store.add_farm(&elder).await.unwrap();
        let site = Site {
            id: "ridge".into(),
            farm_id: None,
            name: "Ridge".into(),
            latitude: 40.6925,
            longitude: -74.1687,
            elevation_m: None,
            time_zone: "America/New_York".into(),
            version: 1,
            created_at: now,
        };
        house.store.add_site(&site).await.unwrap();
        let mast = Source {
            id: "mast".into(),
            site_id: "ridge".into(),
            name: "Mast".into(),
            way: Way::File,
            provider: None,
            cell: None,
            kind: Kind::Station,
            trust: 1,
            mapping: None,
            created_at: now,
        };
        house.store.add_source(&mast).await.unwrap();
        house.store.store_readings("mast", &readings(), now).await.unwrap();
        for (id, farm, name) in [("bench", "alder", "North <Bench>"), ("bend", "elder", "River Bend")] {
            let block = Block {
                id: id.into(),
                farm_id: farm.into(),
                site_id: "ridge".into(),
                name: name.into(),
                details: json!({"name": name, "cultivar": "Gala", "curve": "reference", "style_length_mm": 8.8,
                    "flowers_per_cluster": 5, "target_fruit_per_tree": 115, "last_crop_per_tree": 96,
                    "area": 1.5, "area_unit": "hectare"}),
                geometry: None,
                version: 1,
                created_at: now,
                archived_at: None,
            };
            house.store.add_block(&block).await.unwrap();
        }
        house
    }

    /// The same with the whole spring of North Bench.
    pub async fn in_season() -> House {
        let house = House::planted().await;
        house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
        house.write("bench", &log()).await;
        house.reckon().await;
        house
    }

    /// Appends to a log of 2013.
    pub async fn write(&self, block: &str, entries: &[Value]) {
        let now = self.now();
        let rows: Vec<LogEntry> = entries.iter().map(|doc| entry(doc, now)).collect();
        self.store.append_entries(block, 2013, &rows).await.unwrap();
    }

    /// Puts something into a reckoned season of 2013 that only the loops' weather gives.
    pub async fn amend(&self, block: &str, field: &str, value: Value) {
        let mut was = self.store.season(block, 2013).await.unwrap().unwrap().reckoned.unwrap();
        was.doc[field] = value;
        let reckoned = Reckoned {
            block_id: block.to_owned(),
            year: 2013,
            versions: was.versions,
            look_again_at: was.look_again_at,
            state: was.state,
            doc: was.doc,
            alerts: Vec::new(),
            expected: Vec::new(),
        };
        assert_eq!(self.store.commit_reckoned(&[reckoned], self.now()).await.unwrap(), 1);
    }

    /// Reckons what is stale as the loops do, with the model alone.
    pub async fn reckon(&self) {
        self.reckon_telling(&[]).await;
    }

    /// The same with alerts of each.
    pub async fn reckon_telling(&self, alerts: &[AlertWrite]) {
        let (now, catalogue) = (self.now(), shipped_catalogue());
        for one in self.store.stale_seasons(now, catalogue.edition, None, 100).await.unwrap() {
            let weather = self.store.site_weather(&one.site.id, Instant::MIN, Instant::MAX).await.unwrap();
            let sources: Vec<_> = weather.sources.into_iter().map(|(_, readings)| readings).collect();
            let series = Series::join(&sources, None, now);
            let zone = zone(&one.site.time_zone).unwrap();
            let (latitude, longitude) = (one.site.latitude, one.site.longitude);
            let bees = Bees::judge(&series, &[], &Place { latitude, longitude, elevation_m: None, zone });
            let plan =
                Plan::assemble(Some(one.year), zone, &one.block.details, one.plan.as_ref(), &catalogue);
            let tables: Vec<_> =
                one.rules.iter().filter(|(kind, _)| kind == VERDICT_TABLE).cloned().collect();
            let plan = plan.unwrap().under(&tables, &one.confirmed);
            let entries = one.log.iter().map(|entry| Entry::read(&entry.doc, None).unwrap()).collect();
            let growth = Growth::new(Arc::new(Course::new(series).with_bees(bees)), plan.block.curve.clone());
            let season = season::reckon(&plan, &FieldLog::by_id(entries).unwrap(), &growth, now);
            let reckoned = Reckoned {
                block_id: one.block.id.clone(),
                year: one.year,
                versions: one.versions,
                look_again_at: season.look_again_at,
                state: season.state.word().to_owned(),
                doc: serde_json::to_value(&season).unwrap(),
                alerts: alerts.to_vec(),
                expected: Vec::new(),
            };
            assert_eq!(self.store.commit_reckoned(&[reckoned], now).await.unwrap(), 1);
        }
    }
}

/// An entry as the store keeps it.
pub fn entry(doc: &Value, received_at: Instant) -> LogEntry {
    let entry = Entry::read(doc, None).unwrap();
    LogEntry { at: entry.at, kind: entry.kind().into(), id: entry.id, doc: doc.clone(), received_at }
}

/// The readings of EWR up to the end of May.
pub fn readings() -> Vec<Reading> {
    let file = include_str!("../../../../tests/data/spring-2013.csv");
    let ewr = file.lines().filter(|line| line.starts_with("EWR,"));
    ewr.filter_map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let fahrenheit: f64 = cells[5].parse().ok()?;
        let at = Instant::parse(cells[14]).unwrap();
        Some(Reading::instant(at, TemperatureUnit::Fahrenheit.to_celsius(fahrenheit)))
    })
    .collect()
}
