//! How long the server takes for a board of 200 blocks, for the page of one block and
//! for a grower's day on 20 blocks, with 10,020 blocks of 51 farms in the database, and
//! how much of each travels.
//!
//! Pass lines: the board at most 60 ms and 300 kB; block and day at most 15 ms and,
//! packed and with their style, 100 kB at first and 30 kB after.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]
#![allow(clippy::unwrap_used, reason = "a benchmark stops at the first surprise")]
#![allow(dead_code, reason = "the tests' house has more than is measured here")]

#[path = "../tests/pages/ahead.rs"]
mod ahead;
#[path = "../tests/pages/house.rs"]
mod house;
#[path = "../tests/pages/orchard.rs"]
mod orchard;

use std::time::{Duration, Instant as Stopwatch};

use serde_json::Value;
use store::{Block, Farm, Reckoned, Role, Site, Source};

use crate::house::{From, HERE, House, shipped_catalogue};
use crate::orchard::{entry, log, plan, readings};

const FARMS: usize = 50;
const BLOCKS_A_FARM: usize = 200;
/// Blocks of one more farm, as one grower walks them.
const WALKED: usize = 20;
const TIMES: usize = 41;

const PACKS: From<'static> =
    From { headers: &[("host", "localhost:8420"), ("accept-encoding", "gzip")], ..HERE };

#[tokio::main]
async fn main() {
    let house = House::growing().await;
    planted(&house).await;
    let cookie = house.person("ines", "farm-7", Role::Advisor).await;
    let walks = house.person("tom", &format!("farm-{FARMS}"), Role::Grower).await;
    for (name, path, most) in [
        ("today, 20 blocks", "/today", Duration::from_millis(15)),
        ("board of 200", "/board", Duration::from_millis(60)),
        ("block", "/blocks/farm-7-100/seasons/2013", Duration::from_millis(15)),
        ("hours to spray in", "/blocks/farm-7-100/seasons/2013/slots", Duration::from_millis(60)),
        ("home", "/", Duration::from_millis(100)),
    ] {
        let cookie = if path == "/today" { &walks } else { &cookie };
        let plain = house.get(path, Some(cookie)).await;
        assert_eq!(plain.status, 200, "{path}: {}", plain.body);
        let packed = house.send("GET", path, "", &PACKS, Some(cookie)).await;
        let took = median(async || {
            house.get(path, Some(cookie)).await;
        })
        .await;
        println!(
            "{name:<18} {:6.1} ms of {} ms  {:6} bytes, {:6} packed",
            took.as_secs_f64() * 1e3,
            most.as_millis(),
            plain.bytes,
            packed.bytes
        );
    }
}

/// Half of some runs take no longer.
async fn median(mut run: impl AsyncFnMut()) -> Duration {
    let mut took = Vec::with_capacity(TIMES);
    for _ in 0..TIMES {
        let begin = Stopwatch::now();
        run().await;
        took.push(begin.elapsed());
    }
    took.sort();
    took[TIMES / 2]
}

/// 50 farms with a site each and 200 blocks there, all in leg 1 with odds.
async fn planted(house: &House) {
    let (store, now) = (&house.store, house.now());
    let bench = store.block("bench").await.unwrap().unwrap();
    let ridge = store.site("ridge").await.unwrap().unwrap();
    let mast = store.sources_of("ridge").await.unwrap().remove(0);
    let doc = store.season("bench", 2013).await.unwrap().unwrap().reckoned.unwrap();
    let seen: Vec<Value> =
        log().into_iter().filter(|entry| entry["at"].as_str() < Some("2013-04-30")).collect();
    let rows: Vec<_> = seen.iter().map(|doc| entry(doc, now)).collect();
    let read = readings();
    for n in 0..=FARMS {
        let id = format!("farm-{n}");
        let farm = Farm {
            id: id.clone(),
            name: format!("Farm {n}"),
            alert_emails: vec![],
            created_at: now,
            closed_at: None,
        };
        store.add_farm(&farm).await.unwrap();
        let site = Site { id: format!("site-{n}"), name: format!("Site {n}"), ..ridge.clone() };
        store.add_site(&site).await.unwrap();
        store
            .add_source(&Source { id: format!("mast-{n}"), site_id: site.id.clone(), ..mast.clone() })
            .await
            .unwrap();
        store.store_readings(&format!("mast-{n}"), &read, now).await.unwrap();
        for of in 0..if n < FARMS { BLOCKS_A_FARM } else { WALKED } {
            let block = Block {
                id: format!("{id}-{of}"),
                farm_id: id.clone(),
                site_id: site.id.clone(),
                name: format!("Block {n}.{of}"),
                ..bench.clone()
            };
            store.add_block(&block).await.unwrap();
            store.set_plan(&block.id, 2013, 0, &plan(), now).await.unwrap();
            store.append_entries(&block.id, 2013, &rows).await.unwrap();
        }
    }
    let edition = shipped_catalogue().edition;
    loop {
        let stale = store.stale_seasons(now, edition, None, 200).await.unwrap();
        let reckoned: Vec<Reckoned> = stale
            .into_iter()
            .map(|one| Reckoned {
                block_id: one.block.id,
                year: one.year,
                versions: one.versions,
                look_again_at: None,
                state: doc.state.clone(),
                doc: doc.doc.clone(),
                alerts: Vec::new(),
                expected: Vec::new(),
            })
            .collect();
        if reckoned.is_empty() {
            break;
        }
        store.commit_reckoned(&reckoned, now).await.unwrap();
    }
}
