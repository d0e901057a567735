//! Secret addresses of calendars, and the seasons that stand there.

use store::{Behalf, Calendar, Role, StoreError};

use crate::rows::{self, Orchard, SPRING, YEAR, hours, reckoned};
use crate::suite::{Suite, call};
use crate::walls::member;

fn calendar(farm_id: &str) -> Calendar {
    let id = rows::id("calendar");
    Calendar {
        farm_id: farm_id.into(),
        name: "Ines' telephone".into(),
        hash: format!("hash of {id}"),
        made_by: None,
        created_at: SPRING,
        last_read_at: None,
        revoked_at: None,
        id,
    }
}

pub async fn addresses(suite: &Suite) {
    let (ours, theirs) = (Orchard::in_bloom(suite).await, Orchard::in_bloom(suite).await);
    let (one, other) = (calendar(&ours.farm.id), calendar(&ours.farm.id));
    for calendar in [&one, &other] {
        call!(suite, add_calendar(calendar)).unwrap();
    }
    let same_hash = Calendar { hash: one.hash.clone(), ..calendar(&ours.farm.id) };
    let twice = call!(suite, add_calendar(&same_hash));
    assert!(matches!(twice, Err(StoreError::Conflict { .. })), "{twice:?}");
    let nowhere = call!(suite, add_calendar(&calendar("none")));
    assert!(matches!(nowhere, Err(StoreError::NotFound { .. })), "{nowhere:?}");
    assert_eq!(call!(suite, calendar(&one.id)).unwrap(), Some(one.clone()));
    assert_eq!(call!(suite, calendar_by_hash(&one.hash)).unwrap(), Some(one.clone()));
    assert_eq!(call!(suite, calendars_of(&ours.farm.id)).unwrap(), [one.clone(), other.clone()]);
    assert!(call!(suite, calendars_of(&theirs.farm.id)).unwrap().is_empty());

    assert!(one.is_noted(SPRING));
    call!(suite, note_calendar_read(&one.id, hours(1))).unwrap();
    let read = call!(suite, calendar(&one.id)).unwrap().unwrap();
    assert_eq!(read.last_read_at, Some(hours(1)));
    assert!(!read.is_noted(hours(2).plus(-1)) && read.is_noted(hours(2)));

    // Behind the wall it is not there, and nothing is added to what is not one's own.
    let advisor = member(suite, &theirs.farm.id, Role::Advisor).await;
    let behalf = Behalf {
        viewer: Some(advisor.id.clone()),
        person_id: Some(advisor.id.clone()),
        credential_id: None,
        request_id: rows::id("request"),
        at: hours(2),
    };
    suite.called("on_behalf");
    let store = suite.store().on_behalf(behalf);
    assert_eq!(store.calendar(&one.id).await.unwrap(), None);
    assert!(store.calendars_of(&ours.farm.id).await.unwrap().is_empty());
    let foreign = store.add_calendar(&calendar(&ours.farm.id)).await;
    assert!(matches!(foreign, Err(StoreError::NotFound { .. })), "{foreign:?}");
    let foreign = store.revoke_calendar(&one, hours(2)).await;
    assert!(matches!(foreign, Err(StoreError::NotFound { .. })), "{foreign:?}");
    assert!(store.calendar_seasons(&ours.farm.id, (YEAR, YEAR), 9).await.unwrap().is_empty());

    // One's own, and who did it is on record.
    let mine = Calendar { made_by: Some(advisor.id.clone()), ..calendar(&theirs.farm.id) };
    store.add_calendar(&mine).await.unwrap();
    assert_eq!(store.calendar(&mine.id).await.unwrap(), Some(mine.clone()));
    // What leaked ends on a closed farm too.
    call!(suite, close_farm(&theirs.farm, Some(hours(2)))).unwrap();
    assert!(store.revoke_calendar(&mine, hours(3)).await.unwrap());
    let deeds = call!(suite, audit(Some(&theirs.farm.id), store::AuditPart::After(0), 9)).unwrap();
    let deeds: Vec<_> = deeds
        .iter()
        .filter(|deed| deed.subject == mine.id)
        .map(|deed| (deed.deed.as_str(), deed.kind.as_str(), deed.person_id.as_deref()))
        .collect();
    let who = Some(advisor.id.as_str());
    assert_eq!(deeds, [("made", "calendar", who), ("revoked", "calendar", who)]);

    assert!(call!(suite, revoke_calendar(&one, hours(3))).unwrap());
    assert!(!call!(suite, revoke_calendar(&one, hours(4))).unwrap(), "once");
    assert_eq!(call!(suite, calendar(&one.id)).unwrap().unwrap().revoked_at, Some(hours(3)));
    assert_eq!(call!(suite, calendar_by_hash(&one.hash)).unwrap(), None);
    assert_eq!(call!(suite, calendars_of(&ours.farm.id)).unwrap(), [other]);
}

pub async fn seasons(suite: &Suite) {
    let (orchard, other) = (Orchard::in_bloom(suite).await, Orchard::in_bloom(suite).await);
    let farm = orchard.farm.id.as_str();
    let shown = async || call!(suite, calendar_seasons(farm, (YEAR - 1, YEAR), 9)).unwrap();
    assert!(shown().await.is_empty(), "nothing is reckoned yet");
    let settle = async |at| {
        for orchard in [&orchard, &other] {
            let seasons: Vec<_> =
                orchard.stale(suite, at).await.iter().map(|stale| reckoned(stale, vec![])).collect();
            call!(suite, commit_reckoned(&seasons, at)).unwrap();
        }
    };
    settle(hours(1)).await;
    let first = shown().await;
    assert_eq!(first.len(), 1, "of this farm alone");
    assert_eq!((first[0].block_id.as_str(), first[0].year), (orchard.block(), YEAR));
    assert_eq!((first[0].block.as_str(), first[0].time_zone.as_str()), ("North Bench", "America/New_York"));
    assert_eq!(first[0].reckoned_at, hours(1));
    assert!(first[0].doc.contains("growing"), "{}", first[0].doc);
    assert!(call!(suite, calendar_seasons(farm, (YEAR + 1, YEAR + 2), 9)).unwrap().is_empty());

    // Whatever it rests on raises the revision, within one second too.
    let log = [rows::entry("n", SPRING, "mown")];
    call!(suite, append_entries(orchard.block(), YEAR, &log)).unwrap();
    settle(hours(1)).await;
    let second = shown().await;
    assert!(second[0].revision > first[0].revision, "{second:?}");
    let readings = rows::readings(0, 3);
    call!(suite, store_readings(&orchard.station.id, &readings, hours(1))).unwrap();
    settle(hours(1)).await;
    let third = shown().await;
    assert!(third[0].revision > second[0].revision, "{third:?}");
    // Another name stands there before the season is reckoned anew.
    let block = &orchard.blocks[0];
    let version = call!(suite, change_block(block, "Near Field", &block.details, None)).unwrap();
    let fourth = shown().await;
    assert_eq!(fourth[0].block, "Near Field");
    assert!(fourth[0].revision > third[0].revision, "{fourth:?}");

    let block = store::Block { name: "Near Field".into(), version, ..block.clone() };
    call!(suite, archive_block(&block, Some(hours(2)))).unwrap();
    assert!(shown().await.is_empty(), "an archived block rests");
    call!(suite, close_farm(&other.farm, Some(hours(2)))).unwrap();
    let closed = call!(suite, calendar_seasons(&other.farm.id, (YEAR, YEAR), 9)).unwrap();
    assert!(closed.is_empty(), "so does a closed farm");
}
