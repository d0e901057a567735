use api::Stirred;
use axum::http::StatusCode;
use store::{Fetched, Role};

use super::{led_to, operator, refused};
use crate::house::House;

#[tokio::test]
async fn a_farm_is_changed_where_nobody_did_so_meanwhile() {
    let house = House::new().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/farms/alder/change", &ines).await;
    assert!(page.contains("value=\"Alder &#60;Ridge&#62;\""), "{page}");
    let tag = hidden(&page, "tag");
    let wrong = [("name", " "), ("alert_emails", "ines@larkmoor.example\nnobody"), ("tag", &tag)];
    let answer = house.fill("/farms/alder/change", &wrong, &ines).await;
    refused(
        &answer,
        &[
            "is blank",
            "`nobody` is not a mail address",
            "aria-invalid=\"true\"",
            "ines@larkmoor.example\nnobody",
        ],
    );

    let next = [("name", "Alder Farm"), ("alert_emails", "ines@larkmoor.example"), ("tag", &tag)];
    let page = house.page(&led_to(&house.fill("/farms/alder/change", &next, &ines).await), &ines).await;
    assert!(page.contains("Saved.") && page.contains("Alder Farm"), "{page}");
    let late = house.fill("/farms/alder/change", &next, &ines).await;
    refused(&late, &["Someone else changed this"]);
    let notes = house.store.audit(Some("alder"), store::AuditPart::After(0), 100).await.unwrap();
    let noted = notes.iter().find(|note| note.kind == "farm" && note.person.as_deref() == Some("ines"));
    assert!(noted.is_some(), "the audit says who changed the farm: {notes:?}");
}

/// What a hidden field carries.
pub fn hidden(page: &str, name: &str) -> String {
    let start = format!("name=\"{name}\" value=\"");
    let value = page.split(&start).nth(1).unwrap().split('"').next().unwrap();
    value.replace("&#34;", "\"")
}

#[tokio::test]
async fn each_slip_in_a_site_has_its_sentence_and_stays_in_the_form() {
    let house = House::new().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/sites/new";
    let page = house.page(path, &ines).await;
    assert!(
        page.contains("Feed sky (Sky &#60;Service&#62;)") && page.contains("<option value=\"Europe/Rome\">"),
        "{page}"
    );
    let good = [
        ("name", "Ridge"),
        ("latitude", "40.6925"),
        ("longitude", "-74.1687"),
        ("time_zone", "America/New_York"),
        ("elevation_m", ""),
        ("source", "file"),
    ];
    for (field, typed, says) in [
        ("name", "", "is blank"),
        ("latitude", "up the hill", "“up the hill” is not read as degrees; write it like 40.6925"),
        ("latitude", "", "is missing"),
        ("latitude", "91", "91 is outside -90 to 90"),
        ("latitude", "74 W", "ends in W; here N or S is expected"),
        ("longitude", "40° 61' W", "is not read as degrees"),
        ("time_zone", "Newark", "Newark"),
        ("time_zone", "", "is blank"),
        ("elevation_m", "1,500", "expected a number from -430 to 5000, found the text `1,500`"),
        ("elevation_m", "9000", "is outside"),
    ] {
        let fields: Vec<_> =
            good.iter().map(|(name, value)| (*name, if *name == field { typed } else { *value })).collect();
        let answer = house.fill(path, &fields, &ines).await;
        refused(
            &answer,
            &[
                says,
                &format!("id=\"{field}-wrong\""),
                &format!("aria-describedby=\"{field}-hint {field}-wrong\""),
            ],
        );
        let kept = |(name, value): &(&str, &str)| {
            *name == "source"
                || value.is_empty()
                || answer.body.contains(&format!("value=\"{}\"", value.replace('\'', "&#39;")))
        };
        assert!(fields.iter().all(kept), "{field}: {}", answer.body);
    }
    let swapped = [
        ("name", "Ridge"),
        ("latitude", "-74.17"),
        ("longitude", "40.69"),
        ("time_zone", "America/New_York"),
    ];
    refused(&house.fill(path, &swapped, &ines).await, &["look swapped"]);
    assert!(house.store.sites(Some("alder"), None, 10).await.unwrap().is_empty(), "nothing was stored");
    let next = led_to(&house.fill(path, &good, &ines).await);
    assert!(next.ends_with("/import"), "a station's files are sent next: {next}");
}

#[tokio::test]
async fn a_click_on_the_map_goes_into_the_form_and_stores_nothing() {
    let house = House::new().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/sites/new";
    let page = house.page(path, &ines).await;
    assert!(
        page.contains("<input type=\"image\" form=\"typed\"") && page.contains("src=\"/map.svg?"),
        "{page}"
    );
    // 74.17 W is 94 pixels from the left of the whole world, 40.69 N 44 from its top.
    let click = [
        ("name", "Ridge <b>"),
        ("time_zone", "America/New_York"),
        ("map_step", "0"),
        ("map_latitude", "0"),
        ("map_longitude", "0"),
        ("point.x", "94"),
        ("point.y", "44"),
    ];
    let answer = house.fill(path, &click, &ines).await;
    assert_eq!(answer.status, StatusCode::OK);
    for part in [
        "value=\"40.5\"",
        "value=\"-74.25\"",
        "value=\"Ridge &#60;b&#62;\"",
        "Nothing is stored yet",
        "map_step\" value=\"1\"",
    ] {
        assert!(answer.body.contains(part), "{part}: {}", answer.body);
    }
    let keyed = [("name", "Ridge"), ("point.x", "0"), ("point.y", "0")];
    let answer = house.fill(path, &keyed, &ines).await;
    assert!(
        answer.body.contains("No point was clicked.") && answer.body.contains("value=\"Ridge\""),
        "{}",
        answer.body
    );
    let beyond = [("point.x", "900"), ("point.y", "NaN")];
    assert!(house.fill(path, &beyond, &ines).await.body.contains("No point was clicked."));
    assert!(house.store.sites(Some("alder"), None, 10).await.unwrap().is_empty());
    let picture = house.get("/map.svg?map_step=2&map_latitude=40&map_longitude=-74", None).await;
    assert!(picture.status == StatusCode::OK && picture.body.starts_with("<svg "), "{}", picture.body);
}

#[tokio::test]
async fn a_feed_says_when_it_was_asked_what_came_and_what_failed() {
    let house = House::new().await;
    let ole = operator(&house).await;
    let place = [
        ("name", "Ridge"),
        ("latitude", "40.69"),
        ("longitude", "-74.17"),
        ("time_zone", "America/New_York"),
        ("source", "feed:sky"),
    ];
    let path = led_to(&house.fill("/farms/alder/sites/new", &place, &ole).await);
    let page = house.page(&path, &ole).await;
    assert!(
        page.contains("sky: nothing has come yet") && page.contains("as soon as the server comes to it"),
        "{page}"
    );
    let now = house.now();
    let leased = house.store.lease_cells(now, now.plus(60), 10).await.unwrap().remove(0);
    let fetched = Fetched { next_at: now.plus(3_600), error: Some("status 503 <busy>"), memory: None };
    house.store.finish_cell("sky", &leased.cell, leased.token, fetched, now).await.unwrap();
    let page = house.page(&path, &ole).await;
    assert!(
        page.contains("sky: the last try failed") && page.contains("status 503 &#60;busy&#62;"),
        "{page}"
    );

    let nils = house.person("nils", "alder", Role::Grower).await;
    let otto = house.person("cora", "alder", Role::Consultant).await;
    assert_eq!(house.fill(&path, &[], &otto).await.status, StatusCode::FORBIDDEN);
    house.stirred.lock().unwrap().clear();
    let next = led_to(&house.fill(&path, &[], &nils).await);
    assert!(house.page(&next, &nils).await.contains("The server was told to ask."));
    assert_eq!(*house.stirred.lock().unwrap(), [Stirred::Feeds]);
    assert_eq!(house.store.cells().await.unwrap()[0].next_at, now, "due at once");
    let again = house.fill(&path, &[], &nils).await;
    assert_eq!(again.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(again.body.contains("less than a minute ago"), "{}", again.body);

    // The same provider twice is not another source; a station's files are.
    let sources = path.replace("feed-test", "sources");
    let twice = house.fill(&sources, &[("source", "feed:sky")], &ole).await;
    assert_eq!(twice.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", twice.body);
    assert!(twice.body.contains("id=\"source-wrong\""), "{}", twice.body);
    assert!(led_to(&house.fill(&sources, &[("source", "file")], &ole).await).ends_with("/import"));
    assert_eq!(house.fill(&sources, &[("source", "hand")], &nils).await.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn a_site_of_another_farm_is_not_there() {
    let house = House::new().await;
    let ole = operator(&house).await;
    let place = [
        ("name", "Ridge"),
        ("latitude", "40.69"),
        ("longitude", "-74.17"),
        ("time_zone", "America/New_York"),
        ("source", "file"),
    ];
    let import = led_to(&house.fill("/farms/alder/sites/new", &place, &ole).await);
    let elder = [("name", "Elder Farm")];
    house.fill("/farms/new", &elder, &ole).await;
    let farms = house.store.farms(None, 10).await.unwrap();
    let elder = farms.iter().find(|farm| farm.name == "Elder Farm").unwrap();
    let otto = house.person("otto", &elder.id, Role::Advisor).await;
    for path in [&import, &import.replace("import", "feed-test")] {
        let answer = house.get(path, Some(&otto)).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND);
        assert!(!answer.body.contains("Ridge"));
    }
    assert_eq!(house.upload(&import, &[("source", None, b"x")], &otto).await.status, StatusCode::NOT_FOUND);
    assert_eq!(
        house.fill(&import.replace("import", "sources"), &[("source", "hand")], &otto).await.status,
        StatusCode::NOT_FOUND
    );
}
