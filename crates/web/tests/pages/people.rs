//! The people of a farm, and what someone sees of themselves.

use axum::http::StatusCode;
use store::Role;

use crate::house::{Answer, HERE, House, tag, whole};

impl House {
    pub async fn sent(&self, path: &str, form: &str, cookie: &str) -> Answer {
        self.send("POST", path, form, &HERE, Some(cookie)).await
    }

    async fn id_of(&self, name: &str) -> String {
        let email = format!("{name}@larkmoor.example");
        self.store.person_by_email(&email).await.unwrap().unwrap().id
    }
}

#[tokio::test]
async fn an_advisor_invites_by_a_link_that_is_shown_once_and_takes_it_back() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let made = house.sent("/farms/alder/people", "email=Tom%40larkmoor.example&role=consultant", &ines).await;
    assert_eq!(made.status, StatusCode::OK, "{}", made.body);
    whole(&made);
    assert!(
        made.body.contains("Hand this link to tom@larkmoor.example. It works once, until Mon 10 Jun 2013")
    );
    let link =
        made.body.split("https://bloom.example/invitation/").nth(1).unwrap().split('"').next().unwrap();
    let page = house.page("/farms/alder/people", &ines).await;
    assert!(!page.contains(link), "the link is shown once: {page}");
    assert!(page.contains("Invited as consultant by ines, Mon 3 Jun 2013"), "{page}");
    let joined =
        house.post(&format!("/invitation/{link}"), "name=Tom+%3CAsh%3E&password=pears+before+apples").await;
    assert_eq!(joined.status, StatusCode::SEE_OTHER);
    let page = house.page("/farms/alder/people", &ines).await;
    assert!(
        page.contains("Tom &#60;Ash&#62;: consultant") && page.contains("No invitation is open."),
        "{page}"
    );

    house.sent("/farms/alder/people", "email=una%40larkmoor.example&role=grower", &ines).await;
    let page = house.page("/farms/alder/people", &ines).await;
    let back = page.split("action=\"/farms/alder/invitations/").nth(1).unwrap().split('"').next().unwrap();
    let sent = house.sent(&format!("/farms/alder/invitations/{back}"), "", &ines).await;
    assert_eq!(sent.location.as_deref(), Some("/farms/alder/people#invitations"), "{}", sent.body);
    assert!(house.page("/farms/alder/people", &ines).await.contains("No invitation is open."));
}

#[tokio::test]
async fn what_is_wrong_with_an_invitation_stands_beside_its_field() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let sent = house.sent("/farms/alder/people", "email=%3Ctom%3E&role=grower", &ines).await;
    assert_eq!(sent.status, StatusCode::UNPROCESSABLE_ENTITY);
    whole(&sent);
    for part in [
        "id=\"invite-email-wrong\">`&#60;tom&#62;` is not a mail address",
        "value=\"&#60;tom&#62;\"",
        "<option value=\"grower\" selected>",
    ] {
        assert!(sent.body.contains(part), "{part}: {}", sent.body);
    }
}

#[tokio::test]
async fn roles_are_changed_and_ended_by_advisors_and_anyone_may_leave() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let tom = house.person("tom", "alder", Role::Grower).await;
    let (ines_id, tom_id) = (house.id_of("ines").await, house.id_of("tom").await);
    let role = |person: &str| format!("/farms/alder/people/{person}/role");
    let end = |person: &str| format!("/farms/alder/people/{person}/end");

    // A grower sees who is there, is offered to leave, and is refused the rest.
    let page = house.page("/farms/alder/people", &tom).await;
    assert!(page.contains("ines: advisor") && page.contains(&end(&tom_id)), "{page}");
    for part in ["/role", "Invite someone", "Open invitations", &end(&ines_id)] {
        assert!(!page.contains(part), "{part}: {page}");
    }
    for (path, form) in [
        (role(&tom_id), "role=advisor"),
        (end(&ines_id), ""),
        ("/farms/alder/people".to_owned(), "email=a%40b.example&role=grower"),
    ] {
        assert_eq!(house.sent(&path, form, &tom).await.status, StatusCode::FORBIDDEN, "{path}");
    }
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for (path, form) in [(role(&tom_id), "role=advisor"), (end(&tom_id), "")] {
        assert_eq!(house.sent(&path, form, &otto).await.status, StatusCode::NOT_FOUND, "{path}");
    }
    assert_eq!(house.get("/farms/alder/people", Some(&otto)).await.status, StatusCode::NOT_FOUND);

    let page = house.page("/farms/alder/people", &ines).await;
    let read = tag(&page, &format!("change-{tom_id}-typed"));
    let to = |role: &'static str| [("role", role), ("tag", read.as_str())];
    let unknown = house.fill(&role(&tom_id), &to("king"), &ines).await;
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
    let beside = format!("id=\"change-{tom_id}-role-wrong\">");
    assert!(unknown.body.contains(&beside) && unknown.body.contains("<details class=\"noprint\" open>"));
    let changed = house.fill(&role(&tom_id), &to("consultant"), &ines).await;
    assert_eq!(changed.location.as_deref(), Some("/farms/alder/people"), "{}", changed.body);
    assert!(house.page("/farms/alder/people", &ines).await.contains("tom: consultant"));
    // Whoever still reads the role before is told, and nothing is lost.
    let late = house.fill(&role(&tom_id), &to("advisor"), &ines).await;
    assert_eq!(late.status, StatusCode::UNPROCESSABLE_ENTITY);
    for part in [
        "Someone else changed this",
        "<option value=\"advisor\" selected>",
        &format!("id=\"change-{tom_id}-role-now\">Stands there now: consultant</p>"),
    ] {
        assert!(late.body.contains(part), "{part}: {}", late.body);
    }
    let ended = house.fill(&end(&tom_id), &[("tag", &read)], &ines).await;
    assert_eq!(ended.status, StatusCode::UNPROCESSABLE_ENTITY, "the role that is to end is another now");
    assert!(ended.body.contains("Someone else changed this"), "{}", ended.body);
    let read = tag(&house.page("/farms/alder/people", &tom).await, &format!("end-{tom_id}-typed"));
    let left = house.fill(&end(&tom_id), &[("tag", &read)], &tom).await;
    assert_eq!(left.location.as_deref(), Some("/"), "{}", left.body);
    assert_eq!(house.get("/farms/alder/people", Some(&tom)).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_token_is_shown_once_works_and_is_ended() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/me", &ines).await;
    for part in [
        "You have made none.",
        "this browser",
        "<a href=\"/farms/alder\">Alder &#60;Ridge&#62;</a>: advisor",
        "ines@larkmoor.example",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let made =
        house.sent("/me/tokens", "name=%3Cweather%3E+desk&scope=read&expires_at=2013-07-01", &ines).await;
    assert_eq!(made.status, StatusCode::OK, "{}", made.body);
    whole(&made);
    let secret = made.body.split("<code>").nth(1).unwrap().split('<').next().unwrap().to_owned();
    let header = format!("Bearer {secret}");
    let caller = access::bearer(&house.store, Some(header.as_bytes()), house.now()).await.unwrap();
    assert_eq!(caller.person_id.as_deref(), Some(house.id_of("ines").await.as_str()));
    let page = house.page("/me", &ines).await;
    assert!(!page.contains(&secret) && page.contains("&#60;weather&#62; desk"), "{page}");
    assert!(page.contains("Ends Mon 1 Jul 2013, 00:00 EDT"), "{page}");
    let revoke = format!("/me/tokens/{}/revoked", caller.credential_id);
    let tom = house.person("tom", "alder", Role::Advisor).await;
    assert_eq!(house.sent(&revoke, "", &tom).await.status, StatusCode::NOT_FOUND, "it is not theirs");
    assert_eq!(house.sent(&revoke, "", &ines).await.location.as_deref(), Some("/me#tokens"));
    assert!(access::bearer(&house.store, Some(header.as_bytes()), house.now()).await.is_err());
    assert!(!house.page("/me", &ines).await.contains(&revoke), "what is over is offered no end");
}

#[tokio::test]
async fn one_removes_oneself_after_reading_what_that_means() {
    let house = House::planted().await;
    house.person("ines", "alder", Role::Advisor).await;
    let tom = house.person("tom", "alder", Role::Grower).await;
    let page = house.page("/me", &tom).await;
    assert!(page.contains("at once and for good"), "{page}");
    let unread = house.fill("/me/removed", &[], &tom).await;
    assert_eq!(unread.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", unread.body);
    let read = tag(&page, "remove-typed");
    let gone = house.fill("/me/removed", &[("tag", &read)], &tom).await;
    assert_eq!(gone.location.as_deref(), Some("/sign-in"), "{}", gone.body);
    assert_eq!(house.get("/me", Some(&tom)).await.location.as_deref(), Some("/sign-in"));
    assert!(house.store.person_by_email("tom@larkmoor.example").await.unwrap().is_none());
}

#[tokio::test]
async fn one_renames_oneself_and_takes_what_is_kept_away() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let read = tag(&house.page("/me", &ines).await, "me-typed");
    let typed =
        |name: &'static str, units: &'static str| [("name", name), ("units", units), ("tag", read.as_str())];
    let renamed = house.fill("/me", &typed("Ines & Co", "us"), &ines).await;
    assert_eq!(renamed.location.as_deref(), Some("/me"), "{}", renamed.body);
    assert!(house.page("/me", &ines).await.contains("value=\"Ines &#38; Co\""));
    let late = house.fill("/me", &typed("Ines Two", "us"), &ines).await;
    assert!(late.body.contains("id=\"me-name-now\">Stands there now: Ines &#38; Co</p>"), "{}", late.body);
    assert!(late.body.contains("value=\"Ines Two\"") && !late.body.contains("me-units-now"), "{}", late.body);
    let again = tag(&late.body, "me-typed");
    let empty = house.fill("/me", &[("name", " "), ("units", "us"), ("tag", &again)], &ines).await;
    assert_eq!(empty.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(empty.body.contains("id=\"me-name-wrong\""), "{}", empty.body);
    let past = house.sent("/me/tokens", "name=desk&scope=write&expires_at=2013-01-01", &ines).await;
    assert_eq!(past.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(past.body.contains("id=\"token-expires_at-wrong\">Lies in the past"), "{}", past.body);
    assert!(
        past.body.contains("value=\"2013-01-01\"") && past.body.contains("<option value=\"write\" selected>")
    );
    let file = house.get("/me/export", Some(&ines)).await;
    let kept: serde_json::Value = serde_json::from_str(&file.body).unwrap();
    assert_eq!(kept["caller"]["person"]["name"], "Ines & Co");
    assert_eq!(house.get("/me/export", None).await.location.as_deref(), Some("/sign-in"));
}
