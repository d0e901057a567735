//! Materials and what people have confirmed of them; curves.

use axum::http::StatusCode;
use model::words;
use serde_json::json;
use store::Role;

use crate::house::{HERE, House, only_signs_out};

const CONFIRMED: &str = "material=ammonium-thiosulfate&jurisdiction=New+%3CJersey%3E&by=Ines&on=2013-04-20\
                         &registered=yes&bloom_use=yes&note=label+of+2012";

#[tokio::test]
async fn a_material_is_confirmed_in_someones_name_and_taken_back() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let before = house.page("/farms/alder/materials", &ines).await;
    for part in [
        "Planned in 2013",
        "<strong>Ammonium thiosulfate</strong>: North &#60;Bench&#62;.",
        words::UNCONFIRMED,
        "Nobody has confirmed anything yet.",
        "value=\"ines\"",
        "common practice, no source",
    ] {
        assert!(before.contains(part), "{part}: {before}");
    }
    let sent = house.send("POST", "/farms/alder/materials", CONFIRMED, &HERE, Some(&ines)).await;
    assert_eq!(sent.status, StatusCode::SEE_OTHER, "{}", sent.body);
    assert_eq!(sent.location.as_deref(), Some("/farms/alder/materials#confirmed"));
    let page = house.page("/farms/alder/materials", &ines).await;
    assert!(!page.contains(words::UNCONFIRMED), "{page}");
    for part in
        ["Confirmed by Ines on 2013-04-20 for New &#60;Jersey&#62;", "It is their word", "label of 2012"]
    {
        assert!(page.contains(part), "{part}: {page}");
    }
    let kept = house.store.confirmations("alder").await.unwrap().remove(0);
    let by = house.store.audit(Some("alder"), store::AuditPart::After(0), 100).await.unwrap().pop().unwrap();
    assert_eq!((by.person.as_deref(), by.deed.as_str()), (Some("ines"), "material confirmed"));

    let back = format!("/farms/alder/materials/{}/taken-back", kept.id);
    let sent = house.send("POST", &back, "", &HERE, Some(&ines)).await;
    assert_eq!(sent.status, StatusCode::SEE_OTHER, "{}", sent.body);
    let page = house.page("/farms/alder/materials", &ines).await;
    assert!(page.contains(words::UNCONFIRMED) && page.contains("Taken back Mon 3 Jun 2013"), "{page}");
    assert!(!page.contains(&back), "{page}");
    let again = house.send("POST", &back, "", &HERE, Some(&ines)).await;
    assert_eq!(again.status, StatusCode::NOT_FOUND);
    assert!(again.body.contains("was taken back already"), "{}", again.body);
}

#[tokio::test]
async fn half_a_confirmation_confirms_nothing_and_keeps_what_was_typed() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let half = "material=captan&jurisdiction=%3Ci%3E&by=&on=2014-01-01&registered=yes&note=";
    let sent = house.send("POST", "/farms/alder/materials", half, &HERE, Some(&ines)).await;
    assert_eq!(sent.status, StatusCode::UNPROCESSABLE_ENTITY);
    for (field, says) in [("bloom_use", "Confirm this too"), ("by", "issing")] {
        let beside = sent.body.split(&format!("id=\"confirm-{field}-wrong\">")).nth(1);
        let beside = beside.unwrap_or_else(|| panic!("{field}: {}", sent.body));
        assert!(beside.split("</p>").next().unwrap().contains(says), "{field}: {}", sent.body);
    }
    for kept in [
        "<option value=\"captan\" selected>",
        "value=\"&#60;i&#62;\"",
        "value=\"2014-01-01\"",
        "value=\"yes\" checked",
    ] {
        assert!(sent.body.contains(kept), "{kept}: {}", sent.body);
    }
    assert!(house.store.confirmations("alder").await.unwrap().is_empty());
}

#[tokio::test]
async fn who_only_reads_is_offered_no_form_and_refused() {
    let house = House::in_season().await;
    let cora = house.person("cora", "alder", Role::Consultant).await;
    let page = house.page("/farms/alder/materials", &cora).await;
    assert!(only_signs_out(&page) && !page.contains("Confirm a material"), "{page}");
    let sent = house.send("POST", "/farms/alder/materials", CONFIRMED, &HERE, Some(&cora)).await;
    assert_eq!(sent.status, StatusCode::FORBIDDEN);
    assert!(sent.body.contains("This needs a grower or an advisor of this farm"), "{}", sent.body);
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for method in ["GET", "POST"] {
        let sent = house.send(method, "/farms/alder/materials", CONFIRMED, &HERE, Some(&otto)).await;
        assert_eq!(sent.status, StatusCode::NOT_FOUND, "{method}");
    }
    assert!(house.store.confirmations("alder").await.unwrap().is_empty());
}

#[tokio::test]
async fn the_limits_of_the_farm_stand_with_their_sources() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let shipped = house.page("/farms/alder/materials", &ines).await;
    assert!(shipped.contains("Those that ship with the program"), "{shipped}");
    assert!(
        shipped.contains("29.4 °C (85.0 °F)") && shipped.contains("Rutgers extension, 2012"),
        "{shipped}"
    );
    assert!(shipped.contains("Honey bees do not fly below 10 °C"), "{shipped}");
    let own = json!({"limit": [
        {"what": "wind", "at": 4.5, "source": "what <b>our</b> sprayer bears", "status": "own"},
        {"what": "warmest", "at": 85, "unit": "fahrenheit", "materials": ["sulfur"], "source": "a leaflet", "status": "from-memory"},
    ], "fact": []});
    house.store.set_farm_rule("alder", "slot-limits", Some(&own), house.now()).await.unwrap();
    let page = house.page("/farms/alder/materials", &ines).await;
    for part in [
        "The farm’s own.",
        "<th scope=\"row\">wind</th><td>4.5 m/s (10 mph)</td><td>all materials</td><td>what &#60;b&#62;our&#60;/b&#62; sprayer bears; own</td>",
        "<td>29.4 °C (85.0 °F)</td><td>Sulfur</td><td>a leaflet; from memory</td>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let none = json!({"limit": [], "fact": []});
    house.store.set_farm_rule("alder", "slot-limits", Some(&none), house.now()).await.unwrap();
    assert!(house.page("/farms/alder/materials", &ines).await.contains("No limits set"));
}

#[tokio::test]
async fn curves_stand_with_where_they_come_from() {
    let house = House::planted().await;
    let cora = house.person("cora", "alder", Role::Consultant).await;
    let list = house.page("/curves", &cora).await;
    for part in [
        "<a class=\"touch\" href=\"/curves/reference\">reference</a>",
        "<dd>constructed, not measured as a whole</dd>",
        "<dd>5.0 °C (41.0 °F) to 30.0 °C (86.0 °F)</dd>",
        "<dd>not known</dd>",
        "/curves/cardinal",
        "Williams (1970)",
    ] {
        assert!(list.contains(part), "{part}: {list}");
    }
    let own = json!({"form": "nodes", "unit": "mm-per-day", "nodes": [[5, 0.1], [20, 5.0], [35, 0.0]],
        "source": "our <b>own</b> bench", "status": "measured", "cultivars": ["Gala"], "end_point": "style-base"});
    house.store.add_curve("bench-gala", &own, house.now()).await.unwrap();
    let page = house.page("/curves/bench-gala", &cora).await;
    for part in [
        "our &#60;b&#62;own&#60;/b&#62; bench",
        "the foot of the style",
        "mm a day",
        "Gala",
        "<svg",
        "<th scope=\"row\">20 °C (68 °F)</th><td>5.000</td>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains(words::NOT_CULTIVAR_SPECIFIC), "{page}");
    assert!(house.page("/curves/reference", &cora).await.contains(words::NOT_CULTIVAR_SPECIFIC));
    let none = house.get("/curves/none", Some(&cora)).await;
    assert_eq!(none.status, StatusCode::NOT_FOUND);
    assert!(none.body.contains("There is no such curve here."), "{}", none.body);
    assert_eq!(house.get("/curves", None).await.location.as_deref(), Some("/sign-in"));
}
