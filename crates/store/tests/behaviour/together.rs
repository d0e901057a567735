//! Eight tasks at once. None ever fails for having read before it wrote.

use std::future::Future;

use model::time::{Instant, MINUTE};
use serde_json::json;
use store::{AlertStatus, Behalf, Reckoned, Store, StoreError};

use crate::rows::{self, Orchard, SPRING, YEAR, alert, new_alert, reckoned};
use crate::suite::{Suite, call};

const TASKS: usize = 8;

/// Runs `work` as eight tasks, each with its number, and gives what they gave.
/// Half of them have connections of their own, as another process would.
pub async fn eight<F, T>(suite: &Suite, work: impl Fn(Store, usize) -> F) -> Vec<T>
where
    F: Future<Output = T> + Send + 'static,
    T: Send + 'static,
{
    let other = Store::open(&suite.url).await.unwrap();
    let tasks: Vec<_> = (0..TASKS)
        .map(|number| {
            let store = if number % 2 == 0 { suite.store() } else { &other };
            tokio::spawn(work(store.clone(), number))
        })
        .collect();
    let mut given = Vec::new();
    for task in tasks {
        given.push(task.await.unwrap());
    }
    other.close().await.unwrap();
    given
}

pub async fn read_then_write(suite: &Suite) {
    const TURNS: usize = 50;
    let orchard = Orchard::planted(suite, 1).await;
    let block = orchard.block().to_owned();
    eight(suite, |store, task| {
        let block = block.clone();
        async move {
            for turn in 0..TURNS {
                let details = json!({ "task": task, "turn": turn });
                // Read and written again until nobody came between.
                loop {
                    let held = store.block(&block).await.unwrap().unwrap();
                    match store.change_block(&held, "North Bench", &details, None).await {
                        Err(StoreError::Changed { .. }) => continue,
                        done => {
                            done.unwrap();
                            break;
                        }
                    }
                }
                let entry = rows::entry(&format!("{task}-{turn}"), SPRING, "count");
                store.append_entries(&block, YEAR, &[entry]).await.unwrap();
                loop {
                    let held = store.plan(&block, YEAR).await.unwrap().map_or(0, |plan| plan.version);
                    match store.set_plan(&block, YEAR, held, &details, SPRING).await {
                        Err(StoreError::Changed { .. }) => continue,
                        done => {
                            done.unwrap();
                            break;
                        }
                    }
                }
            }
        }
    })
    .await;
    let changes = (TASKS * TURNS) as i64;
    let versions = call!(suite, season(&block, YEAR)).unwrap().unwrap().versions_now;
    assert_eq!(
        (versions.block, versions.log, versions.plan),
        (1 + changes, changes, changes),
        "no change is lost"
    );
}

/// Many appends at once, of which some clash, some come from beyond the wall and
/// some are given up by who asked.
pub async fn appends(suite: &Suite) {
    let orchard = Orchard::planted(suite, 8).await;
    let id = |number: usize| format!("entry-{number:03}");
    let taken = rows::entry("taken", SPRING, "first");
    call!(suite, append_entries(orchard.block(), YEAR, &[taken])).unwrap();
    let stranger = suite.store().on_behalf(Behalf {
        viewer: Some("nobody".into()),
        person_id: None,
        credential_id: None,
        request_id: "append".into(),
        at: SPRING,
    });
    let tasks: Vec<_> = (0..200)
        .map(|number| {
            let block = orchard.blocks[number % 8].id.clone();
            let (store, entry) = match number {
                16 | 96 => (suite.store().clone(), rows::entry("taken", SPRING, "second")),
                33 | 133 => (stranger.clone(), rows::entry(&id(number), SPRING, "from beyond")),
                _ => (suite.store().clone(), rows::entry(&id(number), SPRING, "count")),
            };
            tokio::spawn(async move { store.append_entries(&block, YEAR, &[entry]).await })
        })
        .collect();
    // Whoever was given up may have been in the middle of writing for others.
    tokio::task::yield_now().await;
    for number in (0..200).filter(|number| number % 7 == 3) {
        tasks[number].abort();
    }
    let mut kept = 0;
    for (number, task) in tasks.into_iter().enumerate() {
        let Ok(outcome) = task.await else { continue };
        match number {
            16 | 96 => assert!(matches!(outcome, Err(StoreError::Conflict { .. })), "{outcome:?}"),
            33 | 133 => assert!(matches!(outcome, Err(StoreError::NotFound { .. })), "{outcome:?}"),
            _ => {
                assert_eq!(outcome.unwrap().new, 1, "{number}");
                let log = call!(suite, log(&orchard.blocks[number % 8].id, YEAR)).unwrap();
                assert!(log.iter().any(|entry| entry.id == id(number)), "{number} was told to be kept");
                kept += 1;
            }
        }
    }
    assert!(kept > 150, "{kept}");
    for block in &orchard.blocks {
        let season = call!(suite, season(&block.id, YEAR)).unwrap().unwrap();
        let log = call!(suite, log(&block.id, YEAR)).unwrap();
        assert_eq!(season.versions_now.log, log.len() as i64, "raised once for each");
        assert!(log.iter().all(|entry| entry.doc["text"] != "from beyond"));
    }
}

pub async fn uploads(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let readings = rows::readings(0, 5_000);
    let uploads = eight(suite, |store, _| {
        let (id, readings) = (orchard.station.id.clone(), readings.clone());
        async move { store.store_readings(&id, &readings, SPRING).await.unwrap() }
    })
    .await;
    assert_eq!(uploads.iter().map(|upload| upload.stored).sum::<u64>(), 5_000);
    assert_eq!(uploads.iter().map(|upload| upload.unchanged).sum::<u64>(), 7 * 5_000);
    assert_eq!(call!(suite, site(&orchard.site.id)).unwrap().unwrap().version, 2);
}

pub async fn leases(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let names: Vec<String> = (0..40).map(|_| rows::id("cell")).collect();
    for (number, cell) in names.iter().enumerate() {
        let mut feed = rows::feed(&orchard.site.id, cell);
        feed.name = format!("Grid {number}");
        call!(suite, add_source(&feed)).unwrap();
    }
    // Each takes three at a time until there are none: rows that another holds
    // are passed over, so an empty page alone does not mean that all are taken.
    let leased = eight(suite, |store, _| async move {
        let mut mine = Vec::new();
        for _ in 0..40 {
            let page = store.lease_cells(SPRING, SPRING.plus(MINUTE), 3).await.unwrap();
            mine.extend(page.into_iter().map(|leased| leased.cell));
        }
        mine
    })
    .await;
    let mut leased: Vec<String> = leased.into_iter().flatten().filter(|cell| names.contains(cell)).collect();
    leased.sort();
    assert_eq!(leased, names, "each cell to one task");
}

pub async fn reckoning(suite: &Suite) {
    const SEASONS: usize = 450;
    // More than one statement carries.
    let orchard = Orchard::planted(suite, SEASONS).await;
    for block in &orchard.blocks {
        call!(suite, set_plan(&block.id, YEAR, 0, &json!([]), SPRING)).unwrap();
    }
    let stale = orchard.stale(suite, SPRING).await;
    let written = eight(suite, |store, task| {
        let mut all: Vec<Reckoned> = stale
            .iter()
            .map(|stale| {
                let due = alert(&stale.block.id, "due", AlertStatus::Told);
                reckoned(stale, vec![new_alert(&due, &["a@x.example"])])
            })
            .collect();
        // In another order each, which must not make them wait for each other.
        all.rotate_left(task * 31);
        async move { store.commit_reckoned(&all, SPRING).await.unwrap() }
    })
    .await;
    assert_eq!(written, [SEASONS as u64; TASKS]);
    let items = call!(suite, uncomposed(Instant::MAX, 10_000)).unwrap();
    let mine = items.iter().filter(|item| item.farm.id == orchard.farm.id).count();
    assert_eq!(mine, SEASONS, "one item for each alert, whoever wrote it");
}
