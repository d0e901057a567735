//! Two springs: 2013 on the real readings of EWR, and one that began a few days ago, with
//! what a provider foretells of it.

use model::time::{DAY, HOUR, Instant};
use serde_json::{Value, json};

use super::api::Api;
use super::{BENCH, FARM, PAST, TERRACE};

/// The spray of [`PAST`] that has a notice.
pub(crate) const SPRAY: &str = "spray-1";

/// Fills site, blocks, plans and logs; gives the year of the spring under way.
pub(super) async fn over(api: &Api, now: Instant) -> i64 {
    let site = json!({"id": "ridge", "farm_id": FARM, "name": "Ridge", "latitude": 40.6925, "longitude": -74.1687,
        "time_zone": "America/New_York"});
    api.post("sites", site).await;
    api.post("sites/ridge/sources", json!({"id": "mast", "name": "Mast", "way": "hand"})).await;
    api.post("sites/ridge/sources", json!({"id": "logger", "name": "Logger", "way": "file"})).await;
    let model = json!({"id": "model", "name": "Model", "way": "feed", "provider": "open-meteo"});
    api.post("sites/ridge/sources", model).await;
    // What the label allows is theirs to know; these are what they go by themselves.
    let own = |what: &str, source: &str| json!({"what": what, "source": source, "status": "own"});
    let (mut wind, bees) =
        (own("wind", "what our sprayer bears"), own("bee-quiet", "as agreed with the beekeeper"));
    wind["at"] = json!(4.5);
    api.set(&format!("farms/{FARM}/slot-limits"), json!({"limit": [wind, bees]})).await;
    for readings in [readings_of_2013(), readings_up_to(now)] {
        api.post("sites/ridge/readings", json!({"source": "mast", "readings": readings})).await;
    }
    for (id, name, cultivar) in [(BENCH, "North Bench", "Gala"), (TERRACE, "Mill Terrace", "Fuji")] {
        let block = json!({"id": id, "farm_id": FARM, "site_id": "ridge", "name": name, "cultivar": cultivar,
            "curve": "reference", "style_length_mm": 8.8, "flowers_per_cluster": 5, "target_fruit_per_tree": 115,
            "last_crop_per_tree": 96, "area": 1.5, "area_unit": "hectare"});
        api.post("blocks", block).await;
    }
    let spray = json!({"material": "ammonium-thiosulfate", "mark": 0.60});
    let year: i64 = now.to_string()[..4].parse().unwrap();
    let past = (BENCH, i64::from(PAST), log_of_2013());
    for (block, year, entries) in [past, (TERRACE, year, log_up_to(now))] {
        let season = format!("blocks/{block}/seasons/{year}");
        api.put(&format!("{season}/plan"), json!({"sprays": [spray, spray]})).await;
        api.post(&format!("{season}/log"), json!({"entries": entries})).await;
    }
    year
}

/// Every kind of entry that the report tells of.
fn log_of_2013() -> Vec<Value> {
    let at = |day: &str| format!("2013-{day}:00-04:00");
    let spray = |id: &str, day: &str| {
        json!({"id": id, "kind": "spray", "at": at(&format!("{day}T19:00")), "finished_at": at(&format!("{day}T20:20")),
            "material": "ammonium-thiosulfate", "product": "Thin-S", "total_amount": "10", "total_unit": "L",
            "applicator": "Tom Ash", "reentry_hours": 24, "by": "Tom"})
    };
    vec![
        json!({"id": "buds", "kind": "bud-count", "at": at("04-10T09:00"), "buds_per_tree": [310, 280, 340, 295, 322]}),
        json!({"id": "pink", "kind": "stage", "at": at("04-20T09:00"), "stage": "full-pink"}),
        json!({"id": "frost", "kind": "damage-count", "at": at("04-24T10:00"), "kings_alive": 41, "kings_dead": 9,
            "laterals_alive": 180, "laterals_dead": 20, "clusters_examined": 50}),
        json!({"id": "bees", "kind": "pollination", "at": at("04-26T08:00"), "hives_in": 6}),
        json!({"id": "agreed", "kind": "decision", "at": at("04-26T08:00"), "thin": true, "by": "Hedda",
            "reason": "enough kings; the row by the road is left alone"}),
        json!({"id": "open-1", "kind": "open-count", "at": at("04-28T10:00"), "open_per_tree": [41, 66, 58, 47, 73]}),
        json!({"id": "open-2", "kind": "open-count", "at": at("04-29T10:00"), "open_per_tree": [96, 131, 104, 122, 141]}),
        spray(SPRAY, "05-01"),
        spray("spray-2", "05-03"),
        json!({"id": "blight", "kind": "spray", "at": at("05-05T07:00"), "material": "streptomycin", "share_of_block": 0.5}),
        json!({"id": "hail", "kind": "note", "at": at("05-05T16:00"), "text": "Hail for two minutes, little of it left."}),
        json!({"id": "end", "kind": "bloom-end", "at": at("05-06T10:00")}),
        json!({"id": "set", "kind": "set-count", "at": at("06-02T10:00"), "fruit_per_tree": [120, 141, 133, 128]}),
        json!({"id": "set-beside", "kind": "set-count", "at": at("06-02T11:00"), "fruit_per_tree": [260, 301, 288],
            "group": "unsprayed"}),
    ]
}

/// Counts by which leg 1 began some hours ago.
fn log_up_to(now: Instant) -> Vec<Value> {
    let count = |id: &str, hours: i64, open: [i64; 5]| json!({"id": id, "kind": "open-count", "at": now.plus(-hours * HOUR), "open_per_tree": open});
    vec![count("open-1", 34, [41, 66, 58, 47, 73]), count("open-2", 10, [96, 131, 104, 122, 141])]
}

fn readings_of_2013() -> Vec<Value> {
    let file = include_str!("../../data/spring-2013.csv");
    let ewr = file.lines().filter(|line| line.starts_with("EWR,"));
    ewr.filter_map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        let fahrenheit: f64 = cells[5].parse().ok()?;
        Some(json!({"at": cells[14], "celsius": (fahrenheit - 32.0) / 1.8}))
    })
    .collect()
}

/// The air of an hour since 1970: mild days and cool nights. No day is like another:
/// readings that repeat themselves are not believed.
pub(super) fn air(hour: i64) -> f64 {
    let turned = |period: i64| hour.rem_euclid(period) as f64 / period as f64 * std::f64::consts::TAU;
    let celsius = 13.0 - 6.0 * turned(24).cos() + 1.5 * turned(71).sin() + 0.4 * turned(7).sin();
    (celsius * 10.0).round() / 10.0
}

/// Of two weeks.
fn readings_up_to(now: Instant) -> Vec<Value> {
    let hour = now.0.div_euclid(HOUR);
    let hours = hour - 14 * DAY / HOUR..=hour;
    hours.map(|hour| json!({"at": Instant(hour * HOUR), "celsius": air(hour)})).collect()
}
