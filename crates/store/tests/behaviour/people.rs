//! People, roles, tokens and links.

use model::units::Units;
use store::{Credential, CredentialKind, Link, LinkKind, Person, Role, Scope, StoreError};

use crate::rows::{self, SPRING, hours};
use crate::suite::{Suite, call};
use crate::together::eight;

fn person(name: &str) -> Person {
    let id = rows::id(name);
    Person {
        email: format!("{id}@larkmoor.example"),
        name: name.into(),
        password: Some("$argon2id$…".into()),
        operator: false,
        created_at: SPRING,
        units: Units::Both,
        id,
    }
}

fn link(kind: LinkKind, email: Option<&str>) -> Link {
    let id = rows::id("link");
    Link {
        kind,
        hash: format!("hash of {id}"),
        email: email.map(str::to_owned),
        farm_id: None,
        role: None,
        made_by: None,
        created_at: SPRING,
        expires_at: hours(24),
        used_at: None,
        id,
    }
}

/// The one operator of the suite's database.
async fn operator(suite: &Suite) -> Person {
    if let Some(known) = call!(suite, person_by_email("operator@larkmoor.example")).unwrap() {
        return known;
    }
    assert_eq!(call!(suite, person_count()).unwrap(), 0);
    let (old, new) = (link(LinkKind::Claim, None), link(LinkKind::Claim, None));
    call!(suite, add_link(&old)).unwrap();
    call!(suite, add_link(&new)).unwrap();
    let ole = Person { email: "operator@larkmoor.example".into(), ..person("Ole") };
    assert_eq!(call!(suite, redeem(&old.hash, &ole, hours(1))).unwrap(), None, "a newer one was made");
    let claimed = call!(suite, redeem(&new.hash, &ole, hours(1))).unwrap().unwrap();
    assert_eq!(claimed, Person { operator: true, ..ole });
    assert_eq!(call!(suite, link_by_hash(&new.hash)).unwrap().unwrap().used_at, Some(hours(1)));
    // The server has its operator: no further claim works.
    let late = link(LinkKind::Claim, None);
    call!(suite, add_link(&late)).unwrap();
    assert_eq!(call!(suite, redeem(&late.hash, &person("Eve"), hours(1))).unwrap(), None);
    assert_eq!(call!(suite, person_count()).unwrap(), 1);
    claimed
}

pub async fn credentials(suite: &Suite) {
    let ole = operator(suite).await;
    let before = call!(suite, credential_count()).unwrap();
    let id = rows::id("token");
    let token = Credential {
        hash: format!("hash of {id}"),
        id,
        kind: CredentialKind::Token,
        person_id: Some(ole.id.clone()),
        name: "weather tower".into(),
        scope: Scope::Read,
        created_at: SPRING,
        expires_at: Some(hours(9)),
        last_used_at: None,
        revoked_at: None,
    };
    call!(suite, add_credential(&token)).unwrap();
    assert_eq!(call!(suite, credential_count()).unwrap(), before + 1);
    let found = async || call!(suite, credential_by_hash(&token.hash)).unwrap().unwrap();
    assert_eq!(found().await, token);
    assert_eq!(call!(suite, credential_by_hash("none")).unwrap(), None);
    assert_eq!(call!(suite, credentials_of(&ole.id)).unwrap(), std::slice::from_ref(&token));
    let same_hash = Credential { id: rows::id("token"), ..token.clone() };
    assert!(matches!(call!(suite, add_credential(&same_hash)), Err(StoreError::Conflict { .. })));
    let nobody = Credential { person_id: Some("none".into()), hash: "other".into(), ..same_hash };
    assert!(matches!(call!(suite, add_credential(&nobody)), Err(StoreError::NotFound { .. })));

    call!(suite, note_use(&token.id, SPRING)).unwrap();
    let used = found().await;
    assert_eq!(used.last_used_at, Some(SPRING));
    assert!(!used.is_noted(SPRING.plus(299)) && used.is_noted(SPRING.plus(300)) && token.is_noted(SPRING));
    assert!(found().await.holds(hours(9).plus(-1)) && !found().await.holds(hours(9)));
    assert!(call!(suite, revoke(&token.id, hours(1))).unwrap());
    assert!(!call!(suite, revoke(&token.id, hours(2))).unwrap());
    assert_eq!(found().await.revoked_at, Some(hours(1)));

    let key = rows::id("attempt");
    let count = async |at: i64| call!(suite, count_attempt(&key, SPRING.plus(at), 60)).unwrap();
    assert_eq!(count(0).await, (1, SPRING));
    assert_eq!(count(59).await, (2, SPRING));
    assert_eq!(count(60).await, (1, SPRING.plus(60)));
    call!(suite, forget_attempts(&key)).unwrap();
    assert_eq!(count(61).await, (1, SPRING.plus(61)));
}

pub async fn operators(suite: &Suite) {
    let ole = operator(suite).await;
    let last = call!(suite, make_operator(&ole, false));
    assert!(matches!(&last, Err(StoreError::Refused(why)) if why.contains("last operator")), "{last:?}");
    let farm = rows::farm();
    call!(suite, add_farm(&farm)).unwrap();
    let invitation = Link {
        farm_id: Some(farm.id),
        role: Some(Role::Grower),
        ..link(LinkKind::Invitation, Some("una@larkmoor.example"))
    };
    call!(suite, add_link(&invitation)).unwrap();
    let una = call!(suite, redeem(&invitation.hash, &person("Una"), hours(1))).unwrap().unwrap();
    call!(suite, make_operator(&una, true)).unwrap();
    let late = call!(suite, make_operator(&una, true));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    let all = call!(suite, people(None, 1_000)).unwrap();
    assert!(all.is_sorted_by_key(|person| person.id.clone()));
    let after = call!(suite, people(Some(&all[0].id), 1)).unwrap();
    assert_eq!(after, all[1..2]);
    let una = call!(suite, person(&una.id)).unwrap().unwrap();
    assert!(una.operator && all.contains(&una));
    call!(suite, make_operator(&una, false)).unwrap();
}

pub async fn taking_back(suite: &Suite) {
    operator(suite).await;
    let farm = rows::farm();
    call!(suite, add_farm(&farm)).unwrap();
    let invitation = || Link {
        farm_id: Some(farm.id.clone()),
        role: Some(Role::Grower),
        ..link(LinkKind::Invitation, Some("kit@larkmoor.example"))
    };
    let (one, two) = (invitation(), invitation());
    call!(suite, add_link(&one)).unwrap();
    call!(suite, add_link(&two)).unwrap();
    let open = async |at| call!(suite, invitations_of(&farm.id, at)).unwrap();
    assert_eq!(open(hours(1)).await, [one.clone(), two.clone()]);
    assert_eq!(open(hours(24)).await, [], "ended by themselves");
    assert!(
        !call!(suite, end_invitation("none", &one.id, hours(1))).is_ok_and(|ended| ended),
        "another farm's"
    );
    assert!(call!(suite, end_invitation(&farm.id, &one.id, hours(1))).unwrap());
    assert!(!call!(suite, end_invitation(&farm.id, &one.id, hours(2))).unwrap());
    assert_eq!(open(hours(1)).await, std::slice::from_ref(&two));
    assert_eq!(call!(suite, redeem(&one.hash, &person("Kit"), hours(2))).unwrap(), None);
    call!(suite, redeem(&two.hash, &person("Kit"), hours(2))).unwrap().unwrap();
    assert_eq!(open(hours(2)).await, []);
}

pub async fn links(suite: &Suite) {
    let ole = operator(suite).await;
    let farm = rows::farm();
    call!(suite, add_farm(&farm)).unwrap();
    let ines = person("Ines");
    let invitation = |role| Link {
        farm_id: Some(farm.id.clone()),
        role: Some(role),
        made_by: Some(ole.id.clone()),
        ..link(LinkKind::Invitation, Some(&ines.email))
    };
    let (first, second, late) =
        (invitation(Role::Grower), invitation(Role::Advisor), invitation(Role::Consultant));
    for one in [&first, &second, &late] {
        call!(suite, add_link(one)).unwrap();
    }
    let nowhere = Link { farm_id: Some("none".into()), ..invitation(Role::Grower) };
    assert!(matches!(call!(suite, add_link(&nowhere)), Err(StoreError::NotFound { .. })));
    assert_eq!(call!(suite, link_by_hash(&first.hash)).unwrap(), Some(first.clone()));
    assert_eq!(call!(suite, link_by_hash("none")).unwrap(), None);

    assert_eq!(call!(suite, redeem(&first.hash, &ines, hours(2))).unwrap(), Some(ines.clone()));
    assert_eq!(call!(suite, redeem(&first.hash, &ines, hours(2))).unwrap(), None, "used");
    assert_eq!(call!(suite, redeem(&late.hash, &ines, hours(24))).unwrap(), None, "ended");
    // Who is known stays as they are, and gets the role.
    let other = Person { email: ines.email.clone(), ..person("Other") };
    assert_eq!(call!(suite, redeem(&second.hash, &other, hours(3))).unwrap(), Some(ines.clone()));
    let roles = call!(suite, memberships_of(&ines.id)).unwrap();
    assert_eq!((roles.len(), roles[0].role, roles[0].since), (1, Role::Advisor, hours(3)));

    // A reset ends sign-ins, not tokens.
    let credential = |kind| {
        let id = rows::id("credential");
        Credential {
            hash: format!("hash of {id}"),
            id,
            kind,
            person_id: Some(ines.id.clone()),
            name: "phone".into(),
            scope: Scope::Write,
            created_at: SPRING,
            expires_at: None,
            last_used_at: None,
            revoked_at: None,
        }
    };
    let (session, token) = (credential(CredentialKind::Session), credential(CredentialKind::Token));
    call!(suite, add_credential(&session)).unwrap();
    call!(suite, add_credential(&token)).unwrap();
    let reset = link(LinkKind::Reset, Some(&ines.email));
    call!(suite, add_link(&reset)).unwrap();
    let new = Person { password: Some("$argon2id$new".into()), ..person("x") };
    let back = call!(suite, redeem(&reset.hash, &new, hours(4))).unwrap().unwrap();
    assert_eq!((&back.id, &back.password), (&ines.id, &new.password));
    assert_eq!(call!(suite, person(&ines.id)).unwrap().unwrap().password, new.password);
    let held = async |hash: &str| call!(suite, credential_by_hash(hash)).unwrap().unwrap().revoked_at;
    assert_eq!((held(&session.hash).await, held(&token.hash).await), (Some(hours(4)), None));
    let nobody = link(LinkKind::Reset, Some("nobody@larkmoor.example"));
    call!(suite, add_link(&nobody)).unwrap();
    assert_eq!(call!(suite, redeem(&nobody.hash, &new, hours(4))).unwrap(), None);
    assert_eq!(call!(suite, link_by_hash(&nobody.hash)).unwrap().unwrap().used_at, None, "rolled back");
}

pub async fn roles(suite: &Suite) {
    let ole = operator(suite).await;
    let farm = rows::farm();
    call!(suite, add_farm(&farm)).unwrap();
    assert_eq!(call!(suite, members_of(&farm.id)).unwrap(), []);
    call!(suite, set_role(&ole.id, &farm.id, None, Role::Grower, hours(1))).unwrap();
    call!(suite, set_role(&ole.id, &farm.id, Some(Role::Grower), Role::Grower, hours(2))).unwrap();
    let members = call!(suite, members_of(&farm.id)).unwrap();
    assert_eq!(members.len(), 1);
    assert_eq!((&members[0].0.id, members[0].1.role), (&ole.id, Role::Grower));
    assert_eq!(members[0].1.since, hours(1), "the same again changes nothing");
    let late = call!(suite, set_role(&ole.id, &farm.id, None, Role::Advisor, hours(3)));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    call!(suite, set_role(&ole.id, &farm.id, Some(Role::Grower), Role::Advisor, hours(3))).unwrap();
    assert_eq!(call!(suite, members_of(&farm.id)).unwrap()[0].1.role, Role::Advisor);
    assert!(call!(suite, set_role("none", &farm.id, None, Role::Grower, SPRING)).is_err());
    let held = call!(suite, memberships_of(&ole.id)).unwrap().remove(0);
    let late = call!(suite, end_role(&members[0].1));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    call!(suite, end_role(&held)).unwrap();
    assert!(matches!(call!(suite, end_role(&held)), Err(StoreError::NotFound { .. })));
    call!(suite, change_person(&ole, "Ole M.", Units::Both)).unwrap();
    let late = call!(suite, change_person(&ole, "Ole", Units::Both));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    assert_eq!(call!(suite, person(&ole.id)).unwrap().unwrap().name, "Ole M.");
    let renamed = Person { name: "Ole M.".into(), ..ole.clone() };
    call!(suite, change_person(&renamed, &ole.name, Units::Us)).unwrap();
    assert_eq!(call!(suite, person(&ole.id)).unwrap().unwrap(), Person { units: Units::Us, ..ole.clone() });
    call!(suite, change_person(&ole, &ole.name, Units::Both)).unwrap();
    assert!(call!(suite, change_person(&person("Nora"), "x", Units::Both)).is_err());
}

pub async fn one_link(suite: &Suite) {
    let farm = rows::farm();
    call!(suite, add_farm(&farm)).unwrap();
    let bo = person("Bo");
    let invitation = Link {
        farm_id: Some(farm.id.clone()),
        role: Some(Role::Grower),
        ..link(LinkKind::Invitation, Some(&bo.email))
    };
    call!(suite, add_link(&invitation)).unwrap();
    let redeemed = eight(suite, |store, _| {
        let (hash, bo) = (invitation.hash.clone(), bo.clone());
        async move { store.redeem(&hash, &bo, hours(1)).await.unwrap().is_some() }
    })
    .await;
    assert_eq!(redeemed.iter().filter(|redeemed| **redeemed).count(), 1, "it works once");
}
