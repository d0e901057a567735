//! A site's weather and its past springs.

use axum::http::StatusCode;
use model::series::{Forecast, Kind, Reading};
use model::time::{HOUR, Instant};
use store::{Role, Source, Way};

use crate::house::House;

impl House {
    /// The site `yard` of the farm `alder`, whose feed brings a forecast.
    async fn with_yard() -> House {
        let house = House::planted().await;
        house.set_clock("2013-05-31T12:30:00Z");
        let ridge = house.store.site("ridge").await.unwrap().unwrap();
        let yard = store::Site {
            id: "yard".into(),
            farm_id: Some("alder".into()),
            name: "The <Yard>".into(),
            elevation_m: Some(120.0),
            ..ridge
        };
        house.store.add_site(&yard).await.unwrap();
        let feed = Source {
            id: "feed".into(),
            site_id: "yard".into(),
            name: "Feed <1>".into(),
            way: Way::Feed,
            provider: Some("breeze".into()),
            cell: Some("c1".into()),
            kind: Kind::Station,
            trust: 1,
            mapping: None,
            created_at: house.now(),
        };
        house.store.add_source(&feed).await.unwrap();
        let now = house.now();
        let hour = |ahead: i64, celsius: f64| Reading::instant(now.plus(ahead * HOUR), celsius);
        let hours = vec![hour(-3, 40.0), hour(2, 4.0), hour(4, 21.5), hour(30, 11.0)];
        let forecast = Forecast { issued_at: now.plus(-2 * HOUR), hours };
        house.store.store_fetch("feed", &[hour(-1, 15.0)], Some(&forecast), now).await.unwrap();
        house
    }
}

#[tokio::test]
async fn a_site_shows_what_its_sources_read_and_what_checking_found() {
    let house = House::planted().await;
    house.set_clock("2013-05-28T20:30:00Z");
    let spike = Reading::instant(Instant::parse("2013-05-27T12:00:00Z").unwrap(), 45.0);
    house.store.store_readings("mast", &[spike], house.now()).await.unwrap();
    let ines = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/sites/ridge", &ines).await;
    for part in [
        "<h1>Ridge</h1>",
        "40.6925° north, 74.1687° west. Times: America/New_York.",
        "<h3>Mast</h3>",
        "station files",
        "45.0 °C (113.0 °F), spike (not used): ",
        "<svg",
        "spike: not used",
        "/sites/ridge/springs",
        "No source of this site brings a forecast.",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("/farms/"), "the server's own site belongs to no farm: {page}");
    // A fortnight without any readings is told as that.
    house.set_clock("2013-07-28T20:00:00Z");
    let ines = house.sign_in("ines").await;
    let page = house.page("/sites/ridge", &ines).await;
    assert!(page.contains("Nothing was read here in the last 14 days.") && !page.contains("<svg"), "{page}");
    assert!(page.contains("no usable readings for 352 h"), "{page}");
}

#[tokio::test]
async fn the_newest_forecast_stands_with_its_age_and_whom_to_credit() {
    let house = House::with_yard().await;
    let ines = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/sites/yard", &ines).await;
    for part in [
        "The &#60;Yard&#62;",
        "120 m (394 ft) above the sea.",
        "From Feed &#60;1&#62;, issued Fri 31 May 2013, 06:30 EDT (2 h ago). Air by Breeze",
        "<th scope=\"row\">Fri 31 May</th><td>4.0 °C (39.2 °F)</td><td>21.5 °C (70.7 °F)</td>",
        "<th scope=\"row\">Sat 1 Jun</th><td>11.0 °C (51.8 °F)</td>",
        "breeze, c1",
        "(60 min ago)",
        "<a href=\"/farms/alder\">The farm</a>",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("40.0 °C"), "an hour that has passed is no forecast: {page}");
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for path in ["/sites/yard", "/sites/yard/springs", "/sites/nowhere"] {
        let answer = house.get(path, Some(&otto)).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        assert!(!answer.body.contains("Yard"), "{}", answer.body);
    }
}

#[tokio::test]
async fn a_station_of_many_readings_is_drawn_with_fewer_and_told_whole() {
    let house = House::planted().await;
    house.set_clock("2013-07-15T00:00:00Z");
    let (now, every) = (house.now(), 300);
    let reading = |n: i64| {
        let turned = n as f64 / 288.0 * std::f64::consts::TAU;
        let celsius = 18.0 + 6.0 * turned.sin() + 0.3 * (n as f64 / 7.0).sin();
        Reading::instant(now.plus(-n * every), (celsius * 100.0).round() / 100.0)
    };
    let readings: Vec<Reading> = (0..13 * 288).map(reading).collect();
    house.store.store_readings("mast", &readings, now).await.unwrap();
    let ines = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/sites/ridge", &ines).await;
    assert!(page.contains("3744 readings"), "{page}");
    assert!(page.len() < 120_000, "the page has {} bytes", page.len());
}

#[tokio::test]
async fn past_springs_are_shown_by_the_rule_that_was_typed() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Consultant).await;
    let form = house.page("/sites/ridge/springs", &ines).await;
    assert!(form.contains("value=\"0.60, 0.60\"") && !form.contains("<svg"), "{form}");
    let asked =
        "/sites/ridge/springs?start=04-29T10%3A00&degree_hours=&marks=0.60%2C0.40&curve=cardinal&from=2013";
    let page = house.page(asked, &ines).await;
    for part in [
        "Curve: cardinal. Springs with readings: 1.",
        "<svg",
        "<th scope=\"row\">2013</th>",
        "value=\"0.60,0.40\"",
        "value=\"04-29T10:00\"",
        "<option value=\"cardinal\" selected>",
        model::words::NOT_CULTIVAR_SPECIFIC.split(',').next().unwrap(),
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let none = house.page("/sites/ridge/springs?start=04-29T10%3A00&from=1999&to=2001", &ines).await;
    assert!(none.contains("No readings of those springs are kept here."), "{none}");
}

#[tokio::test]
async fn a_rule_that_does_not_read_stays_with_its_fault_beside_it() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    for (query, field, says) in [
        ("marks=0.6", "start", "one of `start`, `degree_hours` and `logged`"),
        ("start=04-29T10%3A00&marks=%3Cb%3E", "marks", "`&#60;b&#62;` is no number"),
        ("start=yesterday", "start", "yesterday"),
        ("start=04-29T10%3A00&from=2013&to=2001", "from", "expected 1 to 60 years"),
    ] {
        let answer = house.get(&format!("/sites/ridge/springs?{query}"), Some(&ines)).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        let beside = answer.body.split(&format!("id=\"springs-{field}-wrong\">")).nth(1);
        let beside =
            beside.unwrap_or_else(|| panic!("{query}: {}", answer.body)).split("</p>").next().unwrap();
        assert!(beside.contains(says), "{query}: {beside}");
        assert!(!answer.body.contains("<svg") && !answer.body.contains("<b>"), "{query}");
    }
}
