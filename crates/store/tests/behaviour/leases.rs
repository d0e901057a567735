//! Leases of cells.

use model::time::{Instant, MINUTE};
use store::{LeasedCell, Source};

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
        call!(suite, finish_cell("sky", &name, token, next_at, error, later)).unwrap()
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

    // A second site in the cell is fetched for at once, and a fetch under way
    // that does not know of it cannot put it off.
    let next = later.plus(3_600);
    let under_way = lease(suite, &name, next).await.unwrap();
    let second = Source { created_at: next.plus(1), ..rows::feed(&two.site.id, &name) };
    call!(suite, add_source(&second)).unwrap();
    assert!(!finish(under_way.token, next.plus(3_600), None).await);
    let both = lease(suite, &name, next.plus(1)).await.unwrap();
    assert_eq!(both.sources.len(), 2);
    assert!(both.sources.contains(&(second, two.site.clone())));

    assert!(finish(both.token, next.plus(900), Some("status 500")).await);
    let cell = shown().await;
    assert_eq!(cell.last_error.as_deref(), Some("status 500"));
    assert_eq!(cell.last_ok_at, Some(later), "the last time that went well stays");
}
