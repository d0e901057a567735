//! On which wall clock the pages of a farm, and those of no farm, tell time.

use store::{Farm, Role, Site};

use crate::house::House;

/// Half past one in New York on the night on which clocks are put back, and the same an
/// hour later.
const TWICE: [&str; 2] = ["2013-11-03T05:30:00Z", "2013-11-03T06:30:00Z"];

impl House {
    async fn site_of(&self, farm: &str, id: &str, zone: &str) {
        let site = Site {
            id: id.into(),
            farm_id: Some(farm.into()),
            name: id.into(),
            latitude: -41.2,
            longitude: 173.0,
            elevation_m: None,
            time_zone: zone.into(),
            version: 1,
            created_at: self.now(),
        };
        self.store.add_site(&site).await.unwrap();
    }

    async fn bare_farm(&self, id: &str) {
        let farm = Farm {
            id: id.into(),
            name: id.into(),
            alert_emails: vec![],
            created_at: self.now(),
            closed_at: None,
        };
        self.store.add_farm(&farm).await.unwrap();
    }
}

#[tokio::test]
async fn an_hour_that_comes_twice_is_told_apart_by_its_zone() {
    let house = House::planted().await;
    house.set_clock(TWICE[0]);
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.sent("/farms/alder/people", "email=tom%40larkmoor.example&role=grower", &ines).await;
    house.set_clock(TWICE[1]);
    let made = house.sent("/farms/alder/people", "email=una%40larkmoor.example&role=grower", &ines).await;
    assert!(made.body.contains("until Sun 10 Nov 2013, 01:30 EST"), "{}", made.body);
    house.sent("/farms/alder/contacts", "name=Runa&email=runa%40larkmoor.example", &ines).await;
    house.sent("/me/tokens", "name=desk&scope=read", &ines).await;

    let expected: [(&str, &[&str]); 4] = [
        (
            "people",
            &[
                "In this role since Sun 3 Nov 2013, 01:30 EDT.",
                "Invited as grower by ines, Sun 3 Nov 2013, 01:30 EDT; the link ends Sun 10 Nov 2013, 00:30 EST.",
                "Invited as grower by ines, Sun 3 Nov 2013, 01:30 EST; the link ends Sun 10 Nov 2013, 01:30 EST.",
            ],
        ),
        (
            "audit",
            &[
                "The latest first; times of America/New_York",
                "<th scope=\"row\">Sun 3 Nov 2013, 01:30 EDT</th>",
                "<th scope=\"row\">Sun 3 Nov 2013, 01:30 EST</th>",
            ],
        ),
        ("contacts", &["Not confirmed yet; asked Sun 3 Nov 2013, 01:30 EST."]),
        ("me", &["Made Sun 3 Nov 2013, 01:30 EDT", "Made Sun 3 Nov 2013, 01:30 EST"]),
    ];
    for (page, parts) in expected {
        let path = if page == "me" { "/me".to_owned() } else { format!("/farms/alder/{page}") };
        let shown = house.page(&path, &ines).await;
        for part in parts {
            assert!(shown.contains(part), "{page}: {part}: {shown}");
        }
        assert!(!shown.contains(" UTC"), "{page}: {shown}");
    }
}

#[tokio::test]
async fn a_token_ends_with_the_beginning_of_its_day_before_and_after_clocks_are_put_on() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    for day in ["2014-03-09", "2014-03-10"] {
        let form = format!("name=of-{day}&scope=read&expires_at={day}");
        house.sent("/me/tokens", &form, &ines).await;
    }
    let page = house.page("/me", &ines).await;
    for part in [
        "Ends with the beginning of this day, America/New_York",
        "Ends Sun 9 Mar 2014, 00:00 EST",
        "Ends Mon 10 Mar 2014, 00:00 EDT",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let wrong = house.sent("/me/tokens", "name=desk&scope=read&expires_at=soon", &ines).await;
    assert!(
        wrong.body.contains("id=\"token-expires_at-wrong\"") && wrong.body.contains("value=\"soon\""),
        "{}",
        wrong.body
    );
}

#[tokio::test]
async fn a_farms_own_first_site_comes_before_that_of_its_first_block() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    assert!(house.page("/farms/alder/people", &ines).await.contains("since Mon 3 Jun 2013, 08:00 EDT."));
    house.site_of("alder", "valley", "Pacific/Auckland").await;
    house.site_of("alder", "west", "America/Los_Angeles").await;
    let page = house.page("/farms/alder/people", &ines).await;
    assert!(page.contains("since Tue 4 Jun 2013, 00:00 NZST."), "{page}");
}

#[tokio::test]
async fn a_farm_without_a_site_goes_by_another_farm_of_the_reader() {
    let house = House::planted().await;
    house.bare_farm("ash").await;
    let otto = house.person("otto", "ash", Role::Advisor).await;
    for path in ["/farms/ash/people", "/farms/ash/audit", "/me"] {
        let page = house.page(path, &otto).await;
        assert!(page.contains("Mon 3 Jun 2013, 12:00 UTC"), "{path}: {page}");
    }
    // The same person with a role where there is weather.
    house.bare_farm("beech").await;
    house.site_of("beech", "cove", "America/St_Johns").await;
    let (_, secret) =
        access::link::invite(&house.store, "beech", "otto@larkmoor.example", Role::Grower, None, house.now())
            .await
            .unwrap();
    house.post(&format!("/invitation/{secret}"), "").await;
    for path in ["/farms/ash/people", "/farms/ash/audit", "/me", "/farms/beech/people"] {
        let page = house.page(path, &otto).await;
        assert!(page.contains("Mon 3 Jun 2013, 09:30 NDT"), "{path}: {page}");
    }
}
