use store::{Farm, Person};

use super::*;
use crate::token::{FIRST, Wanted, first_token, new_token};
use model::units::Units;

const NOW: Instant = Instant(1_367_000_000);

async fn store() -> (tempfile::TempDir, Store) {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
    (dir, store)
}

async fn comes(store: &Store, secret: &str, now: Instant) -> Option<Caller> {
    match bearer(store, Some(format!("Bearer {secret}").as_bytes()), now).await {
        Ok(caller) => Some(caller),
        Err(Denied::NoToken) => None,
        Err(error) => panic!("{error}"),
    }
}

#[tokio::test]
async fn the_first_token_is_made_once_and_lets_the_operator_in() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    assert_eq!(first_token(&store, NOW).await.unwrap(), None);
    for scheme in ["Bearer", "bearer", "BEARER "] {
        let header = format!("{scheme} {secret}");
        let caller = bearer(&store, Some(header.as_bytes()), NOW).await.unwrap();
        assert_eq!((caller.credential_id.as_str(), caller.may_operate()), (FIRST, true), "{scheme}");
    }
}

#[tokio::test]
async fn only_the_hash_is_kept() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    let kept = store.credential_by_hash(&hash(&secret)).await.unwrap().unwrap();
    assert!(!format!("{kept:?}").contains(&secret["bt_".len()..]));
    // What is kept does not let anyone in.
    assert_eq!(comes(&store, &format!("bt_{}", kept.hash), NOW).await, None);
}

#[tokio::test]
async fn everything_else_stays_outside() {
    let (_dir, store) = store().await;
    let secret = first_token(&store, NOW).await.unwrap().unwrap();
    let mut other = secret.clone();
    other.replace_range(secret.len() - 1.., if secret.ends_with('0') { "1" } else { "0" });
    let headers = [
        None,
        Some(String::new()),
        Some("Bearer".into()),
        Some("Bearer ".into()),
        Some(secret.clone()),
        Some(format!("Basic {secret}")),
        Some(format!("Bearer {other}")),
        Some(format!("Bearer {}", secret.to_uppercase())),
        Some(format!("Bearer {secret}0")),
        Some(format!("Bearer {secret} {secret}")),
    ];
    for header in headers {
        let came = bearer(&store, header.as_deref().map(str::as_bytes), NOW).await;
        assert!(matches!(came, Err(Denied::NoToken)), "{header:?}");
    }
    assert!(matches!(bearer(&store, Some(b"Bearer \xff"), NOW).await, Err(Denied::NoToken)));
    // A token is no sign-in.
    assert!(matches!(signed_in(&store, &secret, NOW).await, Err(Denied::NoToken)));
}

#[tokio::test]
async fn a_token_ends_when_revoked_or_expired_and_notes_its_use() {
    let (_dir, store) = store().await;
    let wanted =
        Wanted { person_id: None, name: "probe", scope: Scope::Read, expires_at: Some(NOW.plus(60)) };
    let (id, secret) = new_token(&store, wanted, NOW).await.unwrap();
    let caller = comes(&store, &secret, NOW.plus(59)).await.unwrap();
    assert!(!caller.may_operate(), "it only reads");
    let kept = store.credential_by_hash(&hash(&secret)).await.unwrap().unwrap();
    assert_eq!(kept.last_used_at, Some(NOW.plus(59)));
    assert_eq!(comes(&store, &secret, NOW.plus(60)).await, None);
    store.revoke(&id, NOW).await.unwrap();
    assert_eq!(comes(&store, &secret, NOW).await, None);
}

#[tokio::test]
async fn what_a_person_may_do_hangs_on_the_farm() {
    let (_dir, store) = store().await;
    for id in ["alder", "birch", "cedar", "other"] {
        let farm =
            Farm { id: id.into(), name: id.into(), alert_emails: vec![], created_at: NOW, closed_at: None };
        store.add_farm(&farm).await.unwrap();
    }
    let secret = crate::link::claim(&store, NOW).await.unwrap().unwrap();
    let person = Person {
        id: "ines".into(),
        email: "ines@larkmoor.example".into(),
        name: "Ines".into(),
        password: None,
        operator: false,
        created_at: NOW,
        units: Units::Both,
    };
    store.redeem(&hash(&secret), &person, NOW).await.unwrap().unwrap();
    let roles = [("alder", Role::Advisor), ("birch", Role::Grower), ("cedar", Role::Consultant)];
    for (farm, role) in roles {
        let known = store.memberships_of("ines").await.unwrap();
        let held = known.iter().find(|one| one.farm_id == farm).map(|one| one.role);
        store.set_role("ines", farm, held, role, NOW).await.unwrap();
    }
    let token = async |scope| {
        let wanted = Wanted { person_id: Some("ines"), name: "probe", scope, expires_at: None };
        let (_, secret) = new_token(&store, wanted, NOW).await.unwrap();
        comes(&store, &secret, NOW).await.unwrap()
    };
    let mut writes = token(Scope::Write).await;
    assert!(writes.operator && writes.may(Deed::SetUp, "other"), "claimed the server");
    writes.operator = false;
    let may = |caller: &Caller| {
        ["alder", "birch", "cedar", "other"]
            .map(|farm| [Deed::Read, Deed::Log, Deed::SetUp].map(|deed| caller.may(deed, farm)))
    };
    assert_eq!(may(&writes), [[true; 3], [true, true, false], [true, false, false], [false; 3]]);
    let mut reads = token(Scope::Read).await;
    assert!(reads.may(Deed::Read, "other") && !reads.may(Deed::Log, "other"));
    reads.operator = false;
    let read = [true, false, false];
    assert_eq!(may(&reads), [read, read, read, [false; 3]]);
}
