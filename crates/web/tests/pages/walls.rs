//! Each page for its own people alone.

use axum::http::StatusCode;
use store::Role;

use crate::house::{From, HERE, House, whole};

/// Pages of North Bench and its farm.
const PAGES: &[&str] = &[
    "/farms/alder",
    "/farms/alder/verification",
    "/farms/alder/materials",
    "/farms/alder/people",
    "/farms/alder/contacts",
    "/farms/alder/alerts",
    "/farms/alder/sprays/2013",
    "/blocks/bench",
    "/blocks/bench/seasons/2013/report",
    "/blocks/bench/seasons/2013/job",
    "/blocks/bench/seasons/2013/sprays/a07/notice",
    "/outcomes/2013",
    "/blocks/bench/seasons/2013",
    "/blocks/bench/seasons/2013/slots",
    "/board?year=2013",
];

#[tokio::test]
async fn people_of_the_farm_have_each_page_whatever_their_role() {
    let house = House::in_season().await;
    for role in [Role::Advisor, Role::Grower, Role::Consultant] {
        let cookie = house.person(role.word(), "alder", role).await;
        for path in PAGES {
            let body = house.page(path, &cookie).await;
            assert!(!body.contains("<b>drift") && !body.contains("North <Bench>"), "{path}: {body}");
        }
    }
}

#[tokio::test]
async fn for_people_of_another_farm_it_is_not_there() {
    let house = House::in_season().await;
    let cookie = house.person("otto", "elder", Role::Advisor).await;
    for path in PAGES {
        let answer = house.get(path, Some(&cookie)).await;
        whole(&answer);
        assert!(!answer.body.contains("Bench") && !answer.body.contains("Alder"), "{path}: {}", answer.body);
        let status = if ["/outcomes/2013", "/board?year=2013"].contains(path) {
            StatusCode::OK
        } else {
            StatusCode::NOT_FOUND
        };
        assert_eq!(answer.status, status, "{path}");
    }
}

#[tokio::test]
async fn whoever_is_not_signed_in_is_led_there_and_the_page_on_care_is_open() {
    let house = House::in_season().await;
    for path in PAGES.iter().copied().chain([
        "/",
        "/me",
        "/curves",
        "/curves/reference",
        "/sites/ridge",
        "/sites/ridge/springs",
        "/farms/alder/audit",
    ]) {
        let answer = house.get(path, None).await;
        assert_eq!(
            (answer.status, answer.location.as_deref()),
            (StatusCode::SEE_OTHER, Some("/sign-in")),
            "{path}"
        );
        assert!(answer.body.is_empty(), "{path}");
        let forged = house.get(path, Some("bloomtide-local=bs_forged")).await;
        assert_eq!(forged.status, StatusCode::SEE_OTHER, "{path}");
    }
    let care = house.get("/care", None).await;
    assert_eq!(care.status, StatusCode::OK);
    whole(&care);
    for (head, _) in model::words::CARE {
        assert!(care.body.contains(head), "{head}");
    }
}

#[tokio::test]
async fn what_is_not_there_is_said_on_a_page() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    for (path, says) in [
        ("/farms/nowhere/sprays/2013", "no such farm"),
        ("/farms/alder/sprays/13", "no bloom year"),
        ("/farms/nowhere/contacts", "no such farm"),
        ("/sites/nowhere", "no such site"),
        ("/blocks/nowhere", "no such block"),
        ("/blocks/bench/seasons/2012/report", "has no season 2012"),
        ("/blocks/bench/seasons/2013/job?spray=3", "has 2 sprays, and no number 3"),
        ("/blocks/bench/seasons/2013/job?spray=0", "no number 0"),
        ("/blocks/bench/seasons/2013/sprays/a05/notice", "no such spray"),
        ("/outcomes/never", "no bloom year"),
        ("/blocks/nowhere/seasons/2013", "no such block"),
        ("/blocks/bench/seasons/2012", "has no season 2012"),
        ("/blocks/bench/seasons/2012/slots", "has no season 2012"),
        ("/blocks/bench/seasons/soon", "no bloom year"),
    ] {
        let answer = house.get(path, Some(&cookie)).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}: {}", answer.body);
        whole(&answer);
        assert!(answer.body.contains(says), "{path}: {}", answer.body);
    }
}

#[tokio::test]
async fn a_page_finds_its_style_under_an_address_that_never_changes() {
    let house = House::new().await;
    let page = house.get("/care", None).await;
    let style =
        page.body.split("<link rel=\"stylesheet\" href=\"").nth(1).unwrap().split('"').next().unwrap();
    let answer = house.get(style, None).await;
    assert_eq!(answer.status, StatusCode::OK);
    assert!(answer.body.contains("color-scheme: light"));
    for gone in ["/assets/0000000000000000/look.css", &style.replace("look", "other")] {
        assert_eq!(house.get(gone, None).await.status, StatusCode::NOT_FOUND, "{gone}");
    }
}

#[tokio::test]
async fn a_page_that_has_not_changed_does_not_travel_twice() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    for path in PAGES {
        let first = house.get(path, Some(&cookie)).await;
        let tag = first.tag.clone().unwrap();
        let held = [("host", "localhost:8420"), ("if-none-match", tag.as_str())];
        let again = From { headers: &held, ..HERE };
        let again = house.send("GET", path, "", &again, Some(&cookie)).await;
        assert_eq!((again.status, again.bytes), (StatusCode::NOT_MODIFIED, 0), "{path}");
        let packs = [("host", "localhost:8420"), ("accept-encoding", "gzip, br")];
        let packed = house.send("GET", path, "", &From { headers: &packs, ..HERE }, Some(&cookie)).await;
        assert!(packed.packed && packed.bytes < first.bytes, "{path}");
        assert!(packed.body == first.body && packed.tag == first.tag, "{path}");
    }
    let note = serde_json::json!({"id": "c01", "kind": "note", "at": "2013-05-06T12:00:00Z", "text": "hail"});
    let path = "/blocks/bench/seasons/2013";
    let before = house.get(path, Some(&cookie)).await.tag;
    house.write("bench", &[note]).await;
    assert_ne!(house.get(path, Some(&cookie)).await.tag, before);
    // What has a secret in its address, and what is refused, is kept nowhere.
    for path in ["/sign-in", "/claim/none", "/blocks/nowhere"] {
        assert_eq!(house.get(path, Some(&cookie)).await.tag, None, "{path}");
    }
}

#[tokio::test]
async fn a_season_is_light_enough_for_little_signal() {
    let house = House::in_season().await;
    let cookie = house.person("ines", "alder", Role::Advisor).await;
    let packs = From { headers: &[("host", "localhost:8420"), ("accept-encoding", "gzip")], ..HERE };
    let page = house.send("GET", "/blocks/bench/seasons/2013", "", &packs, Some(&cookie)).await;
    let style = page.body.split("href=\"/assets/").nth(1).unwrap().split('"').next().unwrap();
    let style = house.send("GET", &format!("/assets/{style}"), "", &packs, None).await;
    let (first, again) = (page.bytes + style.bytes, page.bytes);
    // With and without what the browser has already.
    assert!(first <= 100_000 && again <= 30_000, "{first} bytes, then {again}");
}

/// A form must say whose it is, and a secret in an address must not get out by it.
#[tokio::test]
async fn a_page_tells_this_server_where_it_was_and_one_with_a_secret_its_origin_alone() {
    let house = House::new().await;
    let mut secrets = 0;
    for path in web::pages() {
        let filled: Vec<&str> =
            path.split('/').map(|part| if part.starts_with('{') { "k9x2" } else { part }).collect();
        let referrer = house.get(&filled.join("/"), None).await.referrer;
        let secret = path.contains("{secret}") || path.contains("{mark}");
        secrets += i32::from(secret);
        assert_eq!(referrer, if secret { "no-referrer, strict-origin" } else { "same-origin" }, "{path}");
    }
    assert!(secrets >= 6, "{secrets} pages with a secret in their address");
    // A link that was mistyped, and a form that was refused.
    for answer in [house.get("/resets/k9x2", None).await, house.post("/reset/k9x2", "password=short").await] {
        assert_eq!(answer.referrer, "no-referrer, strict-origin");
    }
    // A browser without `Sec-Fetch-Site` signs in by its origin.
    let old = From { headers: &[("host", "localhost:8420"), ("origin", "http://localhost:8420")], ..HERE };
    let answer = house.send("POST", "/sign-in", "email=a%40b.example&password=x", &old, None).await;
    assert_ne!(answer.status, StatusCode::FORBIDDEN, "{}", answer.body);
}
