//! The page of the sprayers' round.

use serde_json::json;
use store::Role;

use crate::house::{HERE, House};

const PATH: &str = "/farms/alder/round";

#[tokio::test]
async fn a_round_is_planned_from_a_form_and_says_what_cannot_be_reached() {
    let house = House::growing().await;
    let cookie = house.person("nils", "alder", Role::Grower).await;
    let empty = house.page(PATH, &cookie).await;
    assert!(empty.contains("Alder Cove") && empty.contains("name=\"name-2\""), "{empty}");
    assert!(!empty.contains("River Bend") && !empty.contains("The round by time"), "{empty}");
    let form = "units=metric&name-0=%3Cb%3EOld%3C%2Fb%3E&area-0=1,5&tank-0=1000&fill-0=20&name-1=&area-1=&spray=900&from=05:00&until=21:00&block=bench&block=cove";
    let planned = house.send("POST", PATH, form, &HERE, Some(&cookie)).await;
    assert_eq!(planned.status, 200, "{}", planned.body);
    crate::house::whole(&planned);
    for part in [
        "An order of work, not a permission.",
        "The round by time",
        "<th scope=\"col\">Sprayer</th>",
        // The sooner mark comes first; each is begun at its mark, as its slot allows.
        "Alder Cove: go Wed 1 May, 08:00, begin Wed 1 May, 08:00",
        "North &#60;Bench&#62;: go Wed 1 May, 18:00",
        "value=\"&#60;b&#62;Old&#60;/b&#62;\"",
        "value=\"1,5\"",
        "value=\"bench\" checked",
    ] {
        assert!(planned.body.contains(part), "{part}: {}", planned.body);
    }
    assert!(!planned.body.contains("<b>Old") && !planned.body.contains("value=\"dale\" checked"));
    let told = &planned.body
        [planned.body.find("The round</h2>").unwrap()..planned.body.find("<form class=\"noprint\"").unwrap()];
    assert!(told.contains("North &#60;Bench&#62;") && !told.contains("Dale"), "{told}");
    // 1.5 ha at 0.1 ha an hour take 15 h, and the slots last six.
    let slow = house.send("POST", PATH, "name-0=Old&area-0=0.1", &HERE, Some(&cookie)).await.body;
    assert!(slow.contains("the work takes 15.0 h, and its longest slot is 6.0 h"), "{slow}");
}

#[tokio::test]
async fn what_is_wrong_stands_at_its_field_and_what_was_typed_stays() {
    let house = House::growing().await;
    let cookie = house.person("nils", "alder", Role::Grower).await;
    for (form, at, says) in [
        ("name-0=&area-0=", "name-0-wrong", "names none that can be used"),
        ("name-1=Old&area-1=much", "area-1-wrong", "much"),
        ("name-0=Old&area-0=500", "area-0-wrong", "100"),
        ("name-0=Old&area-0=1&spray=-2", "spray-wrong", "-2"),
        ("name-0=Old&area-0=1&from=05:00", "until-wrong", "has both its begin and its end"),
        ("name-0=Old&area-0=1&from=5am&until=20:00", "from-wrong", "`5am` is no time of the wall clock"),
        ("units=us&name-0=Old&area-0=500", "area-0-wrong", "(in hectares and litres)"),
    ] {
        let answer = house.send("POST", PATH, form, &HERE, Some(&cookie)).await;
        assert_eq!(answer.status, 422, "{form}: {}", answer.body);
        let place = answer
            .body
            .split(&format!("id=\"{at}\">"))
            .nth(1)
            .unwrap_or_else(|| panic!("{form}: {}", answer.body));
        let fault = place.split("</p>").next().unwrap();
        assert!(fault.contains(says), "{form}: {fault}");
        assert!(
            answer.body.contains("aria-invalid=\"true\"") && !answer.body.contains("The round by time"),
            "{form}"
        );
    }
    let typed = house.send("POST", PATH, "name-1=Old&area-1=much", &HERE, Some(&cookie)).await.body;
    assert!(typed.contains("value=\"Old\"") && typed.contains("value=\"much\""), "{typed}");
}

#[tokio::test]
async fn only_growers_and_advisors_of_the_farm_plan_a_round() {
    let house = House::growing().await;
    let reads = house.person("cora", "alder", Role::Consultant).await;
    let other = house.person("otto", "elder", Role::Advisor).await;
    let form = "name-0=Old&area-0=1";
    for (cookie, status) in [(&reads, 403), (&other, 404)] {
        assert_eq!(house.get(PATH, Some(cookie)).await.status, status);
        let sent = house.send("POST", PATH, form, &HERE, Some(cookie)).await;
        assert_eq!(sent.status, status, "{}", sent.body);
    }
    assert!(!house.page("/", &reads).await.contains("/round"));
    let elsewhere = crate::house::From {
        headers: &[("host", "localhost:8420"), ("sec-fetch-site", "cross-site")],
        ..HERE
    };
    let nils = house.person("nils", "alder", Role::Grower).await;
    assert_eq!(house.send("POST", PATH, form, &elsewhere, Some(&nils)).await.status, 403);
    assert!(house.page("/", &nils).await.contains("href=\"/farms/alder/round\""));
}

#[tokio::test]
async fn a_block_on_hold_stays_out_and_a_reentry_that_nobody_recorded_is_said() {
    let house = House::growing().await;
    let hold =
        json!({"since": "2013-04-30T09:30:00Z", "night": "2013-04-29", "minimum_c": -3.0, "says": "look"});
    house.amend("cove", "hold", hold).await;
    let reentry = json!({"until": null, "closed": false, "finished_at": "2013-04-29T20:00:00Z", "entry": "s1",
        "material": "captan"});
    house.amend("bench", "reentry", reentry).await;
    let cookie = house.person("nils", "alder", Role::Grower).await;
    let planned = house.send("POST", PATH, "name-0=Old&area-0=1.5", &HERE, Some(&cookie)).await.body;
    for part in [
        "Alder Cove is left out: frost came over its leg Tue 30 Apr, 05:30. Look at the flowers before any spray.",
        "North &#60;Bench&#62;: No re-entry time is recorded for this block",
        "North &#60;Bench&#62;: go ",
    ] {
        assert!(planned.contains(part), "{part}: {planned}");
    }
    assert!(!planned.contains("Alder Cove: go "), "{planned}");
}
