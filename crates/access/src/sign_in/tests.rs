use super::*;
use crate::link::{Given, claim, redeem};
use store::LinkKind;

const NOW: Instant = Instant(1_367_000_000);
const RIGHT: &str = "pears before apples";

struct House {
    _dir: tempfile::TempDir,
    store: Store,
    passwords: Passwords,
}

impl House {
    async fn new() -> House {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path().join("t.db").to_str().unwrap()).await.unwrap();
        let passwords = Passwords::new().await.unwrap();
        let secret = claim(&store, NOW).await.unwrap().unwrap();
        let given =
            Given { name: "Ole".into(), email: "ole@larkmoor.example".into(), password: RIGHT.into() };
        redeem(&store, &passwords, LinkKind::Claim, &secret, given, NOW).await.unwrap();
        House { _dir: dir, store, passwords }
    }

    async fn tries(&self, attempt: Attempt<'_>, now: Instant) -> Result<SignedIn, SignInError> {
        sign_in(&self.store, &self.passwords, attempt, now).await
    }
}

fn attempt<'a>(email: &'a str, password: &str, from: &'a str) -> Attempt<'a> {
    Attempt { email, password: password.to_owned(), from, browser: "a phone", long: false, before: None }
}

#[tokio::test]
async fn each_sign_in_has_a_new_secret_and_ends_the_one_before() {
    let house = House::new().await;
    let first = house.tries(attempt(" Ole@larkmoor.example", RIGHT, "192.0.2.7"), NOW).await.unwrap();
    assert_eq!(first.expires_at, NOW.plus(SHORT));
    let caller = crate::signed_in(&house.store, &first.secret, NOW).await.unwrap();
    assert!(caller.may_operate());
    // A cookie is no token for programs.
    let header = format!("Bearer {}", first.secret);
    assert!(crate::bearer(&house.store, Some(header.as_bytes()), NOW).await.is_err());

    let again = Attempt {
        before: Some(&first.secret),
        long: true,
        ..attempt("ole@larkmoor.example", RIGHT, "192.0.2.7")
    };
    let second = house.tries(again, NOW).await.unwrap();
    assert_ne!(first.secret, second.secret);
    assert!(crate::signed_in(&house.store, &first.secret, NOW).await.is_err());
    assert!(crate::signed_in(&house.store, &second.secret, NOW.plus(LONG - 1)).await.is_ok());
    assert!(crate::signed_in(&house.store, &second.secret, NOW.plus(LONG)).await.is_err());
}

#[tokio::test]
async fn unknown_addresses_and_wrong_passwords_are_told_alike() {
    let house = House::new().await;
    let wrong = house.tries(attempt("ole@larkmoor.example", "apples before pears", "192.0.2.7"), NOW).await;
    let unknown = house.tries(attempt("eve@larkmoor.example", RIGHT, "192.0.2.7"), NOW).await;
    assert_eq!(wrong.unwrap_err().to_string(), unknown.unwrap_err().to_string());
}

#[tokio::test]
async fn too_many_attempts_are_throttled_until_the_window_ends() {
    let house = House::new().await;
    let wrong = || attempt("ole@larkmoor.example", "apples before pears", "192.0.2.7");
    for _ in 0..FOR_BOTH {
        assert!(matches!(house.tries(wrong(), NOW).await, Err(SignInError::Wrong)));
    }
    let right = |from| attempt("ole@larkmoor.example", RIGHT, from);
    let throttled = house.tries(right("192.0.2.7"), NOW).await;
    assert!(
        matches!(throttled, Err(SignInError::Throttled(until)) if until == NOW.plus(WINDOW)),
        "{throttled:?}"
    );
    // From elsewhere the owner still comes in, and later from here too.
    assert!(house.tries(right("198.51.100.4"), NOW).await.is_ok());
    assert!(house.tries(right("192.0.2.7"), NOW.plus(WINDOW)).await.is_ok());
}

#[tokio::test]
async fn one_place_that_tries_many_names_is_throttled() {
    let house = House::new().await;
    for n in 0..FROM_PLACE {
        let email = format!("guess-{n}@larkmoor.example");
        assert!(matches!(house.tries(attempt(&email, "x", "192.0.2.9"), NOW).await, Err(SignInError::Wrong)));
    }
    let next = house.tries(attempt("ole@larkmoor.example", RIGHT, "192.0.2.9"), NOW).await;
    assert!(matches!(next, Err(SignInError::Throttled(_))));
}
