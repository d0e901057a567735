use axum::http::StatusCode;
use model::series::Kind;
use model::time::Instant;
use store::{Role, Source, Way};

use super::{led_to, refused};
use crate::house::House;

const PATH: &str = "/sites/hill/readings";

/// A farm's own site, and where a source is wanted one that is typed in.
async fn house(with_source: bool) -> House {
    let house = House::planted().await;
    let site = store::Site {
        id: "hill".into(),
        farm_id: Some("alder".into()),
        name: "The <Hill>".into(),
        ..house.store.site("ridge").await.unwrap().unwrap()
    };
    house.store.add_site(&site).await.unwrap();
    if with_source {
        let mast = house.store.source("mast").await.unwrap().unwrap();
        let source = Source {
            id: "hand".into(),
            site_id: "hill".into(),
            name: "Thermometer".into(),
            way: Way::Hand,
            kind: Kind::Hand,
            ..mast
        };
        house.store.add_source(&source).await.unwrap();
    }
    house
}

/// What is kept of the site: when, °C to a tenth, seconds that it covers.
async fn kept(house: &House) -> Vec<(String, f64, i64)> {
    let all = house.store.readings("hill", Instant::MIN, Instant::MAX).await.unwrap();
    let all = all.into_iter().flat_map(|(_, readings)| readings);
    all.map(|one| (one.at.to_string(), (one.celsius * 10.0).round() / 10.0, one.span)).collect()
}

#[tokio::test]
async fn several_readings_are_typed_in_on_the_clock_of_the_site() {
    let house = house(true).await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    assert!(house.page("/sites/hill", &nils).await.contains("href=\"/sites/hill/readings\""));
    let page = house.page(PATH, &nils).await;
    for part in [
        "Type in readings of The &#60;Hill&#62;",
        "America/New_York",
        "<option value=\"hand\">Thermometer</option>",
        "<option value=\"celsius\" selected>",
        "name=\"row0.day\" value=\"2013-06-03\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let typed = [
        ("source", "hand"),
        ("unit", "fahrenheit"),
        ("minutes", "60"),
        ("row0.day", "2013-05-01"),
        ("row0.time", "06:00"),
        ("row0.value", "41"),
        ("row1.day", ""),
        ("row1.time", "7"),
        ("row1.value", "50,0"),
        ("row3.day", "2013-05-02"),
        ("row3.time", "06:30"),
        ("row3.value", "32"),
        ("row4.day", ""),
    ];
    let page = house.page(&led_to(&house.fill(PATH, &typed, &nils).await), &nils).await;
    assert!(page.contains("Stored: 3 new readings; 0 were there already, 0 corrected."), "{page}");
    assert!(
        page.contains("<option value=\"fahrenheit\" selected>"),
        "the next ones are of the same kind: {page}"
    );
    let row = |at: &str, celsius: f64| (at.to_owned(), celsius, 3_600);
    assert_eq!(
        kept(&house).await,
        [
            row("2013-05-01T10:00:00Z", 5.0),
            row("2013-05-01T11:00:00Z", 10.0),
            row("2013-05-02T10:30:00Z", 0.0)
        ]
    );
    let mut again = typed;
    again[5].1 = "43";
    let next = led_to(&house.fill(PATH, &again, &nils).await);
    assert!(next.ends_with("stored=0&unchanged=2&corrected=1"), "{next}");
}

#[tokio::test]
async fn each_slip_in_a_reading_has_its_sentence_and_none_is_stored() {
    let house = house(true).await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    for (day, time, value, at, says) in [
        ("2012-11-04", "01:30", "5", "time", "01:30 comes twice on this day"),
        ("2013-03-10", "02:30", "5", "time", "the clock goes from 02:00 to 03:00"),
        ("2013-05-01", "noon", "5", "time", "“noon” is no time of day"),
        ("2013-05-01", "", "5", "time", "“” is no time of day"),
        ("", "06:00", "5", "time", "“” is no day"),
        ("2013-05-01", "06:00", "", "value", "a time needs its temperature"),
        ("2013-05-01", "06:00", "mild", "value", "found the text `mild`"),
        ("2013-05-01", "06:00", "500", "value", "is the unit right?"),
        ("2014-05-01", "06:00", "5", "time", "ahead of now"),
    ] {
        // The second of those that are typed, in the third row.
        let typed = [
            ("source", "hand"),
            ("unit", "celsius"),
            ("row0.day", if day.is_empty() { "" } else { "2013-05-01" }),
            ("row0.time", if day.is_empty() { "" } else { "05:00" }),
            ("row0.value", if day.is_empty() { "" } else { "4" }),
            ("row2.day", day),
            ("row2.time", time),
            ("row2.value", value),
        ];
        let answer = house.fill(PATH, &typed, &nils).await;
        refused(&answer, &[says, &format!("id=\"row2.{at}-wrong\""), &format!("value=\"{time}\"")]);
        assert!(!answer.body.contains("id=\"row0.time-wrong\""), "{}", answer.body);
    }
    let other = [("source", "mast"), ("row0.time", "05:00"), ("row0.value", "4")];
    refused(&house.fill(PATH, &other, &nils).await, &["id=\"source-wrong\"", "Choose one of the sources"]);
    refused(&house.fill(PATH, &[("source", "hand")], &nils).await, &["is an empty list"]);
    assert!(kept(&house).await.is_empty());
    let meant = [
        ("source", "hand"),
        ("unit", "celsius"),
        ("row0.day", "2012-11-04"),
        ("row0.time", "01:30-05:00"),
        ("row0.value", "5"),
    ];
    led_to(&house.fill(PATH, &meant, &nils).await);
    assert_eq!(kept(&house).await[0].0, "2012-11-04T06:30:00Z", "the second of the two");
}

#[tokio::test]
async fn a_site_without_such_a_source_leads_to_adding_one() {
    let house = house(false).await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page(PATH, &ines).await;
    assert!(page.contains("No source of this site is typed in by hand") && !page.contains("row0"), "{page}");
    assert!(page.contains("href=\"/sites/hill/feed-test#more\""), "{page}");
    let nils = house.person("nils", "alder", Role::Grower).await;
    assert!(!house.page(PATH, &nils).await.contains("#more"), "a grower adds none");
    led_to(&house.fill("/sites/hill/sources", &[("source", "hand")], &ines).await);
    assert!(house.page(PATH, &nils).await.contains("row0.time"));

    let cora = house.person("cora", "alder", Role::Consultant).await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for (who, status) in [(&cora, StatusCode::FORBIDDEN), (&otto, StatusCode::NOT_FOUND)] {
        assert_eq!(house.get(PATH, Some(who)).await.status, status);
        assert_eq!(house.fill(PATH, &[("row0.time", "05:00")], who).await.status, status);
    }
    let servers = house.get("/sites/ridge/readings", Some(&ines)).await;
    assert_eq!(servers.status, StatusCode::FORBIDDEN);
    assert!(servers.body.contains("takes feeds only"), "{}", servers.body);
}
