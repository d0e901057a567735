//! Signing in and out, and the pages that links land on.

use access::link;
use axum::http::StatusCode;
use store::Role;

use crate::house::{From, HERE, House, NOW, PASSWORD, PROXY, cookie_of, whole};

const SIGN_IN: &str = "email=Ole%40larkmoor.example&password=pears+before+apples";

#[tokio::test]
async fn from_the_claim_to_signing_out() {
    let house = House::claimed().await;
    let wrong = house.post("/sign-in", "email=ole%40larkmoor.example&password=nope").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("do not fit") && wrong.body.contains("ole@larkmoor.example"));
    assert!(wrong.cookie.is_none());
    let signed = house.post("/sign-in", SIGN_IN).await;
    // No block yet: the operator comes to the steps that lead to one.
    assert_eq!((signed.status, signed.location.as_deref()), (StatusCode::SEE_OTHER, Some("/begin")));
    let set = signed.cookie.clone().unwrap();
    assert!(set.starts_with("bloomtide-local=bs_") && set.contains("HttpOnly; SameSite=Lax"), "{set}");
    assert!(set.contains("Max-Age=43200"), "{set}");
    let cookie = cookie_of(&signed);
    let home = house.get("/", Some(&cookie)).await;
    whole(&home);
    assert!(home.body.contains("Signed in as Ole") && home.body.contains("You run this server"));
    let long = house.post("/sign-in", &format!("{SIGN_IN}&long=yes")).await;
    assert!(long.cookie.unwrap().contains("Max-Age=34560000"));

    let out = house.send("POST", "/sign-out", "", &HERE, Some(&cookie)).await;
    assert_eq!(out.location.as_deref(), Some("/sign-in"));
    assert!(out.cookie.unwrap().contains("Max-Age=0"));
    assert_eq!(house.get("/", Some(&cookie)).await.location.as_deref(), Some("/sign-in"));
}

#[tokio::test]
async fn the_api_can_be_read_about() {
    let house = House::new().await;
    let page = house.get("/reference", None).await;
    assert_eq!(page.status, StatusCode::OK);
    whole(&page);
    for (method, path, id) in api::operations() {
        assert!(
            page.body.contains(&format!("{method} {path}")) && page.body.contains(&id),
            "{method} {path}"
        );
    }
    // Examples name addresses, in their text.
    let leads =
        ["src=", "href=", "action=", "url("].map(|name| [format!("{name}\"http"), format!("{name}\"//")]);
    for elsewhere in leads.as_flattened() {
        assert!(!page.body.contains(elsewhere), "something of another host: {elsewhere}");
    }
}

#[tokio::test]
async fn opening_a_link_changes_nothing() {
    let house = House::new().await;
    let secret = link::claim(&house.store, NOW).await.unwrap().unwrap();
    let path = format!("/claim/{secret}");
    for method in ["GET", "HEAD", "GET"] {
        let shown = house.send(method, &path, "", &HERE, None).await;
        assert_eq!(shown.status, StatusCode::OK, "{method}");
    }
    whole(&house.get(&path, None).await);
    // What will not do is said, what was typed is kept, and the link still works.
    let weak = house.post(&path, "name=O+%26+O&email=ole%40larkmoor.example&password=short").await;
    assert_eq!(weak.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(weak.body.contains("10 to 200 characters") && weak.body.contains("O &#38; O"), "{}", weak.body);
    assert!(!weak.body.contains("short\""), "a password is never sent back");
    let form = format!("name=Ole&email=ole%40larkmoor.example&password={PASSWORD}");
    assert_eq!(house.post(&path, &form).await.status, StatusCode::SEE_OTHER);
    for used in [house.post(&path, &form).await, house.get(&path, None).await] {
        assert_eq!(used.status, StatusCode::NOT_FOUND);
        whole(&used);
        assert!(used.body.contains("used already"));
    }
    let nothing = house.get("/claim/bl_nothing", None).await;
    assert_eq!(nothing.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn an_invitation_and_a_lost_password() {
    let house = House::claimed().await;
    let (_, secret) =
        link::invite(&house.store, "alder", "ines@larkmoor.example", Role::Grower, None, NOW).await.unwrap();
    let path = format!("/invitation/{secret}");
    let shown = house.get(&path, None).await;
    whole(&shown);
    assert!(shown.body.contains("Alder &#60;Ridge&#62;") && shown.body.contains("ines@larkmoor.example"));
    let form = "name=Ines&password=pears+before+apples";
    assert_eq!(house.post(&path, form).await.status, StatusCode::SEE_OTHER);
    let as_ines = "email=ines%40larkmoor.example&password=";
    let signed = house.post("/sign-in", &format!("{as_ines}{PASSWORD}")).await;
    let cookie = cookie_of(&signed);
    let home = house.get("/", Some(&cookie)).await;
    assert!(home.body.contains("Alder &#60;Ridge&#62;: grower"), "{}", home.body);

    // Someone known is not asked for a password again.
    let (_, again) =
        link::invite(&house.store, "alder", "ines@larkmoor.example", Role::Advisor, None, NOW).await.unwrap();
    let shown = house.get(&format!("/invitation/{again}"), None).await;
    assert!(!shown.body.contains("type=\"password\""), "{}", shown.body);

    let reset = link::reset(&house.store, "ines@larkmoor.example", NOW).await.unwrap().unwrap();
    let path = format!("/reset/{reset}");
    whole(&house.get(&path, None).await);
    assert_eq!(house.post(&path, "password=plums+after+cherries").await.status, StatusCode::SEE_OTHER);
    assert_eq!(house.get("/", Some(&cookie)).await.location.as_deref(), Some("/sign-in"), "signed out");
    let signed = house.post("/sign-in", &format!("{as_ines}plums+after+cherries")).await;
    assert_eq!(signed.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn what_another_site_sends_is_refused() {
    let house = House::claimed().await;
    let send = async |headers: &[(&'static str, &str)]| {
        let headers = [&[("host", "localhost:8420")], headers].concat();
        let from = From { peer: HERE.peer, headers: &headers };
        house.send("POST", "/sign-in", SIGN_IN, &from, None).await.status
    };
    for theirs in [
        &[("sec-fetch-site", "cross-site")][..],
        &[("sec-fetch-site", "same-site")],
        &[("origin", "https://elsewhere.example")],
        &[("origin", "null")],
        &[("origin", "http://localhost:8421")],
        &[("sec-fetch-site", "cross-site"), ("origin", "http://localhost:8420")],
    ] {
        assert_eq!(send(theirs).await, StatusCode::FORBIDDEN, "{theirs:?}");
    }
    for ours in [&[][..], &[("sec-fetch-site", "same-origin")], &[("origin", "http://localhost:8420")]] {
        assert_eq!(send(ours).await, StatusCode::SEE_OTHER, "{ours:?}");
    }
}

#[tokio::test]
async fn no_one_signs_in_where_others_could_listen() {
    let house = House::claimed().await;
    let send = async |method, peer, headers: &[(&'static str, &str)]| {
        house
            .send(
                method,
                "/sign-in",
                if method == "GET" { "" } else { SIGN_IN },
                &From { peer, headers },
                None,
            )
            .await
    };
    let orchard = ("host", "bloom.example");
    for method in ["GET", "POST"] {
        for (peer, headers) in [
            ("198.51.100.7:1", &[orchard][..]),
            ("198.51.100.7:1", &[orchard, ("x-forwarded-proto", "https")]),
            ("127.0.0.1:1", &[orchard]),
            (PROXY, &[orchard, ("x-forwarded-proto", "http")]),
        ] {
            let refused = send(method, peer, headers).await;
            assert_eq!(refused.status, StatusCode::FORBIDDEN, "{method} {peer} {headers:?}");
            assert!(refused.body.contains("HTTPS") && refused.cookie.is_none());
        }
    }
    let behind = [orchard, ("x-forwarded-proto", "https"), ("x-forwarded-for", "203.0.113.9")];
    let signed = send("POST", PROXY, &behind).await;
    let cookie = signed.cookie.unwrap();
    assert!(cookie.starts_with("__Host-bloomtide=") && cookie.ends_with("; Secure"), "{cookie}");
    assert!(cookie.contains("; Path=/;") && !cookie.contains("Domain"), "{cookie}");
}

#[tokio::test]
async fn too_many_attempts_are_told_when_to_try_again() {
    let house = House::claimed().await;
    let wrong = "email=ole%40larkmoor.example&password=nope";
    let mut last = house.post("/sign-in", wrong).await;
    for _ in 0..10 {
        last = house.post("/sign-in", wrong).await;
    }
    assert_eq!(last.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(last.body.contains("Try again in 15 minutes"), "{}", last.body);
}

#[tokio::test]
async fn a_link_for_a_lost_password_comes_by_mail_and_tells_nobody_who_is_here() {
    let house = House::claimed().await;
    whole(&house.get("/forgotten", None).await);
    assert!(house.get("/sign-in", None).await.body.contains("href=\"/forgotten\""));
    let ask = async |email: &str| {
        let answer = house.post("/forgotten", &format!("email={}", email.replace('@', "%40"))).await;
        tokio::task::yield_now().await;
        answer
    };
    let known = house.store.people(None, 1).await.unwrap().remove(0).email;
    let nobody = ask("nobody@larkmoor.example").await;
    let somebody = ask(&known.to_uppercase()).await;
    assert_eq!((nobody.status, &nobody.body), (somebody.status, &somebody.body));
    whole(&somebody);
    let mail = loop {
        if let Some(mail) = house.mails.lock().unwrap().pop() {
            break mail;
        }
        tokio::task::yield_now().await;
    };
    assert_eq!(mail.to, known);
    let link = mail.text.lines().find(|line| line.starts_with("https://")).unwrap();
    let path = link.strip_prefix("https://bloom.example").unwrap();
    let chosen = house.post(path, "password=quinces+in+october").await;
    assert_eq!(chosen.status, StatusCode::SEE_OTHER, "{}", chosen.body);

    // Neither a mail box nor the server is flooded.
    for _ in 0..5 {
        assert_eq!(ask(&known).await.body, nobody.body, "the same however often");
    }
    let late = loop {
        let answer = ask("nobody@larkmoor.example").await;
        if answer.status != StatusCode::OK {
            break answer;
        }
    };
    assert_eq!(late.status, StatusCode::TOO_MANY_REQUESTS);
    while house.mails.lock().unwrap().len() < 2 {
        tokio::task::yield_now().await;
    }
    assert_eq!(house.mails.lock().unwrap().len(), 2, "three to one address");
    // Over plain HTTP nobody can use what comes.
    let open = From { peer: "203.0.113.9:40000", headers: &[("host", "bloom.example")] };
    let refused = house.send("GET", "/forgotten", "", &open, None).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn everyone_begins_with_what_they_come_for() {
    let house = House::new().await;
    for (name, role, begins) in
        [("tom", Role::Grower, "/today"), ("ines", Role::Advisor, "/"), ("kay", Role::Consultant, "/")]
    {
        house.person(name, "alder", role).await;
        let form = format!("email={name}%40larkmoor.example&password={PASSWORD}");
        assert_eq!(house.post("/sign-in", &form).await.location.as_deref(), Some(begins), "{name}");
    }
}
