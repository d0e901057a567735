//! Leases of cells.

use model::time::{DAY, Instant, MINUTE};
use store::{Fetched, LeasedCell, Source};

use crate::rows::{self, Orchard, SPRING};
use crate::suite::{Suite, call};

/// Leases everything due and gives the cell of that name.
async fn lease(suite: &Suite, cell: &str, now: Instant) -> Option<LeasedCell> {
    let leased = call!(suite, lease_cells(now, now.plus(5 * MINUTE), 1_000)).unwrap();
    leased.into_iter().find(|leased| leased.cell == cell)
}

pub async fn cells(suite: &Suite) {
    let (one, two) = (Orchard::planted(suite, 0).await, Orchard::planted(suite, 0).await);
    let name = rows::id("cell");
    let first = rows::feed(&one.site.id, &name);
    call!(suite, add_source(&first)).unwrap();
    assert_eq!(lease(suite, &name, SPRING.plus(-1)).await, None, "not due before");

    let leased = lease(suite, &name, SPRING).await.unwrap();
    assert_eq!(leased.sources, [(first.clone(), one.site.clone())]);
    assert_eq!(lease(suite, &name, SPRING.plus(60)).await, None, "leased to another");

    // The holder goes away; the next one has a higher token, and the first can
    // no longer finish.
    let later = SPRING.plus(5 * MINUTE);
    let taken_over = lease(suite, &name, later).await.unwrap();
    assert!(taken_over.token > leased.token);
    let finish = async |token, next_at, error| {
        let fetched = Fetched { next_at, error, memory: Some("grid 7") };
        call!(suite, finish_cell("sky", &name, token, fetched, later)).unwrap()
    };
    assert!(!finish(leased.token, later, None).await);
    assert!(finish(taken_over.token, later.plus(3_600), None).await);
    assert!(!finish(taken_over.token, later.plus(9_999), None).await, "only once");
    let shown = async || {
        let cells = call!(suite, cells()).unwrap();
        cells.into_iter().find(|cell| cell.cell == name).unwrap()
    };
    let cell = shown().await;
    assert_eq!((cell.next_at, cell.lease_until), (later.plus(3_600), None));
    assert_eq!((cell.last_ok_at, cell.last_error), (Some(later), None));
    // Whoever waits for it has it asked at once, and only this one.
    let soon = later.plus(60);
    assert!(call!(suite, ask_soon("sky", &name, soon)).unwrap());
    assert_eq!(shown().await.next_at, soon);
    assert!(!call!(suite, ask_soon("sky", &name, soon.plus(5))).unwrap(), "due already");
    assert!(!call!(suite, ask_soon("sky", "nowhere", soon)).unwrap());
    assert_eq!(lease(suite, &name, soon).await.unwrap().token, taken_over.token + 1);
    let (token, next_at) = (taken_over.token + 1, later.plus(3_600));
    assert!(finish(token, next_at, None).await);

    // A second site in the cell is fetched for at once, and a fetch under way
    // that does not know of it cannot put it off.
    let next = later.plus(3_600);
    let under_way = lease(suite, &name, next).await.unwrap();
    assert_eq!((leased.memory, under_way.memory.as_deref()), (None, Some("grid 7")));
    let second = Source { created_at: next.plus(1), ..rows::feed(&two.site.id, &name) };
    call!(suite, add_source(&second)).unwrap();
    assert!(!finish(under_way.token, next.plus(3_600), None).await);
    let both = lease(suite, &name, next.plus(1)).await.unwrap();
    assert_eq!(both.sources.len(), 2);
    assert_eq!(both.memory, None, "all of it is asked for anew");
    assert!(both.sources.contains(&(second, two.site.clone())));

    assert!(finish(both.token, next.plus(900), Some("status 500")).await);
    let cell = shown().await;
    assert_eq!(cell.last_error.as_deref(), Some("status 500"));
    assert_eq!(cell.last_ok_at, Some(later), "the last time that went well stays");
}

/// A clock that was ahead put a cell off, and leased another, until long after now.
pub async fn clock_put_back(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let (waiting, held) = (rows::id("cell"), rows::id("cell"));
    for name in [&waiting, &held] {
        let source = Source { name: name.clone(), ..rows::feed(&orchard.site.id, name) };
        call!(suite, add_source(&source)).unwrap();
    }
    let year = SPRING.plus(365 * DAY);
    let leased = lease(suite, &waiting, year).await.unwrap();
    let fetched = Fetched { next_at: year.plus(3_600), error: None, memory: None };
    assert!(call!(suite, finish_cell("sky", &waiting, leased.token, fetched, year)).unwrap());
    let now = SPRING.plus(DAY);
    assert_eq!(lease(suite, &waiting, now).await, None);

    // What waits no longer than is asked for is left as it is; no lease lasts a year.
    assert!(call!(suite, bring_forward(now, year.plus(7_200))).unwrap() >= 1);
    assert_eq!(lease(suite, &waiting, now).await, None);
    assert!(call!(suite, bring_forward(now, now.plus(2 * DAY))).unwrap() >= 1);
    assert!(lease(suite, &waiting, now).await.is_some());
    // What is leased now stays with its holder.
    call!(suite, bring_forward(now, now)).unwrap();
    assert_eq!(lease(suite, &waiting, now).await, None);
    assert_eq!(lease(suite, &held, now).await, None, "it was leased above");
    assert!(lease(suite, &held, now.plus(5 * MINUTE)).await.is_some());
}

pub async fn providers(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let provider = rows::id("provider");
    let names = [rows::id("cell"), rows::id("cell"), rows::id("cell")];
    for name in &names {
        let source = Source {
            provider: Some(provider.clone()),
            name: name.clone(),
            ..rows::feed(&orchard.site.id, name)
        };
        call!(suite, add_source(&source)).unwrap();
    }
    let mut now = SPRING;
    let ours = async |now: Instant| {
        let leased = call!(suite, lease_cells(now, now.plus(5 * MINUTE), 1_000)).unwrap();
        leased.into_iter().filter(|leased| leased.provider == provider).collect::<Vec<_>>()
    };
    let leased = ours(now).await;
    assert_eq!(leased.len(), 3);
    for one in &leased {
        assert!(call!(suite, put_off_cell(&provider, &one.cell, one.token, now.plus(1))).unwrap());
        assert!(
            !call!(suite, put_off_cell(&provider, &one.cell, one.token, now.plus(1))).unwrap(),
            "only once"
        );
    }
    // The third failure in a row opens it, the fourth for longer.
    let pauses = [0, 0, 600, 1_200];
    let failed =
        async |at: Instant| call!(suite, provider_failed(&provider, "status 503", &pauses, at)).unwrap();
    assert_eq!((failed(now).await, failed(now).await), (None, None));
    let until = now.plus(600);
    assert_eq!(failed(now).await, Some(until));
    now = until.plus(-1);
    assert_eq!(ours(now).await, []);
    now = until;
    let probe = ours(now).await;
    assert_eq!(probe.len(), 1, "one is tried");
    assert_eq!(ours(now).await, [], "and no other beside it");
    assert_eq!(failed(now).await, Some(now.plus(1_200)));
    let state = async || {
        let all = call!(suite, providers()).unwrap();
        all.into_iter().find(|state| state.name == provider).unwrap()
    };
    assert_eq!((state().await.failures, state().await.last_error.as_deref()), (4, Some("status 503")));
    call!(suite, provider_well(&provider, now)).unwrap();
    let well = state().await;
    assert_eq!(
        (well.failures, well.open_until, well.last_error, well.last_ok_at),
        (0, None, None, Some(now))
    );
    assert_eq!(ours(now).await.len(), 2, "all but the one that is leased");

    // One budget for all: ten a minute, twelve an hour.
    let limits = [(60, 10), (3_600, 12)];
    let spend = async |cost: u64, at: Instant| call!(suite, spend(&provider, cost, &limits, at)).unwrap();
    assert_eq!(spend(8, SPRING).await, None);
    assert_eq!(spend(3, SPRING.plus(59)).await, Some(SPRING.plus(60)), "and nothing of it is counted");
    assert_eq!(spend(2, SPRING.plus(59)).await, None);
    assert_eq!(spend(3, SPRING.plus(60)).await, Some(SPRING.plus(3_600)));
    assert_eq!(spend(2, SPRING.plus(60)).await, None);
    assert_eq!(state().await.spent, [(60, SPRING.plus(60), 2), (3_600, SPRING, 12)]);
    assert_eq!(spend(99, SPRING.plus(7_200)).await, None, "what is more than the limit goes alone");
    assert_eq!(spend(1, SPRING.plus(7_200)).await, Some(SPRING.plus(10_800)));
}
