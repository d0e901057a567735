//! Plans and field logs.

use serde_json::json;
use store::{Appended, LogEntry, StoreError};

use crate::rows::{self, Orchard, SPRING, YEAR, hours};
use crate::suite::{Suite, call};

pub async fn plans(suite: &Suite) {
    let orchard = Orchard::planted(suite, 1).await;
    let block = orchard.block();
    assert_eq!(call!(suite, plan(block, YEAR)).unwrap(), None);
    assert_eq!(call!(suite, season(block, YEAR)).unwrap(), None);
    let plan = json!([{ "material": "ammonium-thiosulfate", "mark": 0.60 }]);
    assert_eq!(call!(suite, set_plan(block, YEAR, 0, &plan, SPRING)).unwrap(), 1);
    assert_eq!(call!(suite, set_plan(block, YEAR, 1, &plan, hours(1))).unwrap(), 1, "no change");
    let other = json!([{ "material": "ammonium-thiosulfate", "mark": 0.65 }]);
    for held in [0, 2] {
        let late = call!(suite, set_plan(block, YEAR, held, &other, hours(2)));
        assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    }
    assert_eq!(call!(suite, set_plan(block, YEAR, 1, &other, hours(2))).unwrap(), 2);
    let held = call!(suite, plan(block, YEAR)).unwrap().unwrap();
    assert_eq!((held.version, &held.doc, held.at), (2, &other, hours(2)));
    let versions = call!(suite, plans(block, YEAR)).unwrap();
    assert_eq!(
        versions.iter().map(|one| (one.version, &one.doc)).collect::<Vec<_>>(),
        [(1, &plan), (2, &other)]
    );
    let stale = orchard.stale(suite, hours(3)).await.remove(0);
    assert_eq!(stale.plan.as_ref(), Some(&other));
    assert_eq!(stale.plan_versions, [(SPRING, plan.clone()), (hours(2), other.clone())]);
    assert_eq!(call!(suite, set_plan(block, 2012, 0, &plan, SPRING)).unwrap(), 1);
    assert_eq!(call!(suite, seasons_of(block)).unwrap(), [2012, YEAR]);
    let season = call!(suite, season(block, YEAR)).unwrap().unwrap();
    assert_eq!((season.versions_now.plan, season.versions_now.log), (2, 0));
    assert_eq!(season.reckoned, None);
}

pub async fn logs(suite: &Suite) {
    let orchard = Orchard::planted(suite, 1).await;
    let block = orchard.block();
    let entries = [rows::entry("b", hours(2), "frost at dawn"), rows::entry("a", hours(3), "bees about")];
    let append = async |entries: &[LogEntry]| call!(suite, append_entries(block, YEAR, entries));
    assert_eq!(append(&entries).await.unwrap(), Appended { new: 2, unchanged: 0 });
    let version = async || call!(suite, season(block, YEAR)).unwrap().unwrap().versions_now.log;
    assert_eq!(version().await, 1);

    let again = LogEntry { received_at: hours(99), ..entries[0].clone() };
    let got = append(std::slice::from_ref(&again)).await.unwrap();
    assert_eq!(got, Appended { new: 0, unchanged: 1 });
    assert_eq!(version().await, 1);
    let log = call!(suite, log(block, YEAR)).unwrap();
    assert_eq!(log, [entries[1].clone(), entries[0].clone()], "in order of id");

    // What tells of sprays, of those blocks alone that are asked for.
    let spray = LogEntry { kind: "spray".into(), ..rows::entry("s", hours(3), "ats") };
    let back = LogEntry { kind: "withdrawal".into(), ..rows::entry("r", hours(4), "rained") };
    let other = Orchard::planted(suite, 1).await;
    call!(suite, append_entries(other.block(), YEAR, &[spray.clone(), back.clone()])).unwrap();
    let of = async |blocks: &[&str], year| {
        let blocks: Vec<String> = blocks.iter().map(|id| (*id).to_owned()).collect();
        call!(suite, spray_logs(&blocks, year)).unwrap()
    };
    let placed = |entry: LogEntry| (other.block().to_owned(), entry);
    assert_eq!(of(&[block, other.block()], YEAR).await, [placed(back), placed(spray)]);
    assert_eq!(of(&[block], YEAR).await, []);
    assert_eq!(of(&[other.block()], YEAR + 1).await, []);
    assert_eq!(of(&[], YEAR).await, []);

    // Another content under a known id refuses the whole batch.
    let batch = [rows::entry("c", hours(4), "rain"), rows::entry("a", hours(3), "no bees")];
    let refused = append(&batch).await.unwrap_err();
    assert!(matches!(&refused, StoreError::Conflict { what } if what.contains("`a`")), "{refused}");
    assert_eq!(call!(suite, log(block, YEAR)).unwrap().len(), 2);
    assert_eq!(version().await, 1);
    let twice = [rows::entry("d", hours(4), "rain"), rows::entry("d", hours(4), "sun")];
    assert!(append(&twice).await.is_err());

    let many: Vec<LogEntry> = (0..450).map(|n| rows::entry(&format!("n{n:03}"), hours(n), "count")).collect();
    assert_eq!(append(&many).await.unwrap(), Appended { new: 450, unchanged: 0 });
    assert_eq!(version().await, 2);
    assert_eq!(call!(suite, log(block, YEAR)).unwrap().len(), 452);
}
