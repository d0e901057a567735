use store::Farm;

use super::*;

const NOW: Instant = Instant(1_367_000_000);

struct House {
    _dir: tempfile::TempDir,
    store: Store,
    passwords: Passwords,
}

impl House {
    async fn new() -> House {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
        let farm = Farm {
            id: "alder".into(),
            name: "Alder".into(),
            alert_emails: vec![],
            created_at: NOW,
            closed_at: None,
        };
        store.add_farm(&farm).await.unwrap();
        House { _dir: dir, store, passwords: Passwords::new().await.unwrap() }
    }

    async fn redeem(
        &self,
        kind: LinkKind,
        secret: &str,
        given: Given,
        now: Instant,
    ) -> Result<Person, RedeemError> {
        redeem(&self.store, &self.passwords, kind, secret, given, now).await
    }

    /// The server claimed by its operator.
    async fn claimed() -> House {
        let house = House::new().await;
        let secret = claim(&house.store, NOW).await.unwrap().unwrap();
        house.redeem(LinkKind::Claim, &secret, given("Ole"), NOW).await.unwrap();
        house
    }
}

fn given(name: &str) -> Given {
    Given {
        name: name.into(),
        email: format!("{}@Larkmoor.example ", name.to_lowercase()),
        password: "pears before apples".into(),
    }
}

#[tokio::test]
async fn a_claim_makes_one_operator() {
    let house = House::new().await;
    let first = claim(&house.store, NOW).await.unwrap().unwrap();
    let second = claim(&house.store, NOW.plus(60)).await.unwrap().unwrap();
    // The newer one alone works, and only where it belongs.
    let now = NOW.plus(61);
    assert!(look(&house.store, LinkKind::Claim, &first, now).await.unwrap().is_none());
    assert!(look(&house.store, LinkKind::Reset, &second, now).await.unwrap().is_none());
    // Looking does not use it up, and neither does a password that will not do.
    for _ in 0..3 {
        assert!(look(&house.store, LinkKind::Claim, &second, now).await.unwrap().is_some());
    }
    let weak = Given { password: "short".into(), ..given("Ole") };
    let refused = house.redeem(LinkKind::Claim, &second, weak, now).await;
    assert!(matches!(refused, Err(RedeemError::Password(WeakPassword::Length))), "{refused:?}");
    let nameless = Given { name: " ".into(), ..given("Ole") };
    assert!(matches!(house.redeem(LinkKind::Claim, &second, nameless, now).await, Err(RedeemError::NoName)));

    let ole = house.redeem(LinkKind::Claim, &second, given("Ole"), now).await.unwrap();
    assert!(ole.operator);
    assert_eq!(ole.email, "ole@larkmoor.example");
    let again = house.redeem(LinkKind::Claim, &second, given("Eve"), now).await;
    assert!(matches!(again, Err(RedeemError::Over)));
    assert_eq!(claim(&house.store, now).await.unwrap(), None, "the server has its operator");
}

#[tokio::test]
async fn an_invitation_gives_its_role_once() {
    let house = House::claimed().await;
    let invite =
        async |role| invite(&house.store, "alder", "Ines@larkmoor.example", role, None, NOW).await.unwrap().1;
    let (grower, advisor) = (invite(Role::Grower).await, invite(Role::Advisor).await);
    // The address is the one that was invited, whatever is typed.
    let stranger = Given { email: "eve@elsewhere.example".into(), ..given("Ines") };
    let ines = house.redeem(LinkKind::Invitation, &grower, stranger, NOW).await.unwrap();
    assert_eq!((ines.email.as_str(), ines.operator), ("ines@larkmoor.example", false));
    let over = house.redeem(LinkKind::Invitation, &grower, given("Ines"), NOW).await;
    assert!(matches!(over, Err(RedeemError::Over)));
    // A second one finds her, and leaves her password as it is.
    let before = house.store.person(&ines.id).await.unwrap().unwrap();
    let again = Given { password: "another one altogether".into(), ..given("Someone") };
    let same = house.redeem(LinkKind::Invitation, &advisor, again, NOW).await.unwrap();
    assert_eq!(same.id, ines.id);
    assert_eq!(house.store.person(&ines.id).await.unwrap().unwrap(), before);
    let roles = house.store.memberships_of(&ines.id).await.unwrap();
    assert_eq!(roles.iter().map(|role| role.role).collect::<Vec<_>>(), [Role::Advisor]);

    let late =
        super::invite(&house.store, "alder", "bo@larkmoor.example", Role::Grower, None, NOW).await.unwrap().1;
    let over = house.redeem(LinkKind::Invitation, &late, given("Bo"), NOW.plus(INVITATION)).await;
    assert!(matches!(over, Err(RedeemError::Over)));
    assert!(super::invite(&house.store, "none", "bo@x.example", Role::Grower, None, NOW).await.is_err());
}

#[tokio::test]
async fn a_reset_sets_the_password_and_ends_all_sign_ins() {
    use crate::sign_in::{Attempt, sign_in};
    let house = House::claimed().await;
    let attempt = |password: &str| Attempt {
        email: "ole@larkmoor.example",
        password: password.to_owned(),
        from: "192.0.2.7",
        browser: "a phone",
        long: true,
        before: None,
    };
    let signed = sign_in(&house.store, &house.passwords, attempt("pears before apples"), NOW).await.unwrap();
    assert_eq!(reset(&house.store, "nobody@larkmoor.example", NOW).await.unwrap(), None);
    let secret = reset(&house.store, "Ole@larkmoor.example", NOW).await.unwrap().unwrap();
    assert!(crate::signed_in(&house.store, &signed.secret, NOW).await.is_ok());
    let new = Given { password: "plums after cherries".into(), ..Given::default() };
    house.redeem(LinkKind::Reset, &secret, new.clone(), NOW).await.unwrap();
    assert!(crate::signed_in(&house.store, &signed.secret, NOW).await.is_err());
    assert!(sign_in(&house.store, &house.passwords, attempt("pears before apples"), NOW).await.is_err());
    assert!(sign_in(&house.store, &house.passwords, attempt("plums after cherries"), NOW).await.is_ok());
    assert!(matches!(house.redeem(LinkKind::Reset, &secret, new, NOW).await, Err(RedeemError::Over)));
}
