//! What a farm has confirmed, its own tables, and blocks that borrow from others.

use serde_json::json;
use store::{Confirmed, StoreError};

use crate::rows::{self, Orchard, SPRING, YEAR, hours, reckoned};
use crate::suite::{Suite, call};

async fn settle(suite: &Suite, orchard: &Orchard) {
    let seasons: Vec<_> =
        orchard.stale(suite, SPRING).await.iter().map(|stale| reckoned(stale, vec![])).collect();
    call!(suite, commit_reckoned(&seasons, SPRING)).unwrap();
}

pub async fn confirmations_and_tables(suite: &Suite) {
    let (orchard, other) = (Orchard::in_bloom(suite).await, Orchard::in_bloom(suite).await);
    let farm = orchard.farm.id.as_str();
    settle(suite, &orchard).await;
    let confirmed = Confirmed {
        id: rows::id("confirmation"),
        farm_id: farm.into(),
        material: "lime-sulfur".into(),
        doc: json!({"material": "lime-sulfur", "by": "Ines"}),
        at: hours(1),
        taken_back_at: None,
    };
    call!(suite, confirm(&confirmed)).unwrap();
    let again = call!(suite, confirm(&confirmed)).unwrap_err();
    assert!(matches!(again, StoreError::Conflict { .. }), "{again:?}");
    assert_eq!(call!(suite, confirmations(farm)).unwrap(), std::slice::from_ref(&confirmed));
    let stale = orchard.stale(suite, SPRING).await;
    assert_eq!(
        stale[0].confirmed,
        std::slice::from_ref(&confirmed.doc),
        "its seasons are stale, and know of it"
    );
    settle(suite, &orchard).await;

    assert!(!call!(suite, take_confirmation_back(&other.farm.id, &confirmed.id, hours(2))).unwrap());
    assert!(call!(suite, take_confirmation_back(farm, &confirmed.id, hours(2))).unwrap());
    assert!(!call!(suite, take_confirmation_back(farm, &confirmed.id, hours(3))).unwrap(), "once");
    assert_eq!(call!(suite, confirmations(farm)).unwrap()[0].taken_back_at, Some(hours(2)));
    assert!(orchard.stale(suite, SPRING).await[0].confirmed.is_empty());
    settle(suite, &orchard).await;

    let table = json!({"row": []});
    assert_eq!(call!(suite, farm_rule(farm, "verdict")).unwrap(), None);
    call!(suite, set_farm_rule(farm, "verdict", Some(&table), hours(4))).unwrap();
    assert_eq!(call!(suite, farm_rule(farm, "verdict")).unwrap(), Some(table.clone()));
    let stale = orchard.stale(suite, SPRING).await;
    assert_eq!(stale[0].rules, [("verdict".to_owned(), table.clone())]);
    settle(suite, &orchard).await;
    call!(suite, set_farm_rule(farm, "verdict", Some(&table), hours(5))).unwrap();
    assert!(orchard.stale(suite, SPRING).await.is_empty(), "the same again changes nothing");
    call!(suite, set_farm_rule(farm, "verdict", None, hours(6))).unwrap();
    assert_eq!(call!(suite, farm_rule(farm, "verdict")).unwrap(), None);
    let nowhere = call!(suite, set_farm_rule("none", "verdict", Some(&table), hours(6)));
    assert!(nowhere.is_err());
}

pub async fn borrowing(suite: &Suite) {
    let (orchard, other) = (Orchard::planted(suite, 2).await, Orchard::planted(suite, 1).await);
    let (lender, borrower) = (&orchard.blocks[0], &orchard.blocks[1]);
    for block in [lender, borrower] {
        call!(suite, append_entries(&block.id, YEAR, &[rows::entry("n", SPRING, "mown")])).unwrap();
    }
    let borrows = |from: &str| json!({"cultivar": "Gala", "borrows": {"start": from, "stage": from}});
    let foreign = borrows(other.block());
    let refused = call!(suite, change_block(borrower, "Far Field", &foreign, None)).unwrap_err();
    assert!(matches!(&refused, StoreError::NotFound { .. }), "{refused:?}");
    let itself = borrows(&borrower.id);
    assert!(call!(suite, change_block(borrower, "Far Field", &itself, None)).is_err());
    call!(suite, change_block(borrower, "Far Field", &borrows(&lender.id), None)).unwrap();

    let of = |stale: Vec<store::Stale>| stale.into_iter().find(|stale| stale.block.id == borrower.id);
    let stale = of(orchard.stale(suite, SPRING).await).unwrap();
    assert_eq!(stale.lenders.len(), 1, "once, however much is borrowed");
    assert_eq!((stale.lenders[0].block.id.as_str(), stale.lenders[0].log.len()), (lender.id.as_str(), 1));
    settle(suite, &orchard).await;

    // What the lender logs, plans or is makes the borrower stale, in that year alone.
    call!(suite, append_entries(&lender.id, 2012, &[rows::entry("o", SPRING, "old")])).unwrap();
    assert!(of(orchard.stale(suite, SPRING).await).is_none());
    call!(suite, append_entries(&lender.id, YEAR, &[rows::entry("m", SPRING, "again")])).unwrap();
    assert_eq!(of(orchard.stale(suite, SPRING).await).unwrap().lenders[0].log.len(), 2);
    settle(suite, &orchard).await;
    call!(suite, set_plan(&lender.id, YEAR, 0, &json!({"sprays": []}), SPRING)).unwrap();
    assert!(of(orchard.stale(suite, SPRING).await).is_some());
    settle(suite, &orchard).await;
    call!(suite, change_block(lender, "Near Field", &json!({}), None)).unwrap();
    assert!(of(orchard.stale(suite, SPRING).await).is_some());
    settle(suite, &orchard).await;
    // Nothing comes back from the borrower to the lender.
    call!(suite, append_entries(&borrower.id, YEAR, &[rows::entry("b", SPRING, "mine")])).unwrap();
    assert!(orchard.stale(suite, SPRING).await.iter().all(|stale| stale.block.id == borrower.id));
}
