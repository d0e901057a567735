//! The board: what it says of each block, its order, its filters.

use serde_json::json;
use store::{Behalf, Role};

use crate::ahead::GROWING;
use crate::house::House;
use crate::orchard::plan;

/// Names of blocks in the order of their rows.
fn order(page: &str) -> Vec<&str> {
    let rows = page.split("<tbody>").last().unwrap().split("<tr><th scope=\"row\">").skip(1);
    rows.map(|row| row.split("</a>").next().unwrap().rsplit('>').next().unwrap()).collect()
}

#[tokio::test]
async fn a_row_says_in_words_what_its_fan_shows() {
    let house = House::growing().await;
    let ines = house.person("ines", "alder", Role::Consultant).await;
    let page = house.page("/board", &ines).await;
    assert_eq!(order(&page), ["Alder Cove", "North &#60;Bench&#62;", "Dale"], "soonest first: {page}");
    // Early and late lie 18 h apart, so times are told to three hours (convention).
    for part in [
        "<b>Wed 1 May, 18:00</b><br>early Wed 1 May, 09:00; late Thu 2 May, 03:00",
        "tubes growing",
        "0 min ago",
        "Mon 29 Apr, 10:00",
        "No open flowers are counted yet.",
        "America/New_York",
        "A planned material is not confirmed.",
        "aria-sort=\"ascending\"",
        "href=\"/blocks/bench/seasons/2013\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert_eq!(page.matches("aria-hidden=\"true\"").count(), 2, "a fan for each that has odds");
    assert!(!page.contains("River Bend"), "another farm's");
}

#[tokio::test]
async fn each_heading_sorts_and_turns_round() {
    let house = House::growing().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let (bench, cove, dale) = ("North &#60;Bench&#62;", "Alder Cove", "Dale");
    for (asked, rows) in [
        ("sort=block", [cove, dale, bench]),
        ("sort=block&dir=desc", [bench, dale, cove]),
        ("sort=cultivar", [cove, dale, bench]),
        ("sort=cultivar&dir=desc", [dale, bench, cove]),
        ("sort=next", [cove, bench, dale]),
        // What has no mark ahead stays below.
        ("sort=next&dir=desc", [bench, cove, dale]),
        ("sort=state", [cove, bench, dale]),
        ("sort=state&dir=desc", [dale, cove, bench]),
        ("sort=counted", [cove, bench, dale]),
        ("sort=waits", [dale, cove, bench]),
    ] {
        let page = house.page(&format!("/board?{asked}"), &ines).await;
        assert_eq!(order(&page), rows, "{asked}");
        let falls = asked.ends_with("desc");
        assert_eq!(page.contains("aria-sort=\"descending\""), falls, "{asked}");
        assert_eq!(page.matches("aria-sort=").count(), 1, "{asked}");
    }
    let page = house.page("/board?sort=block&cultivar=Gala", &ines).await;
    assert!(page.contains("href=\"/board?cultivar=Gala&#38;sort=block&#38;dir=desc\""), "{page}");
    assert!(
        page.contains("<input type=\"hidden\" name=\"sort\" value=\"block\">"),
        "the form keeps the order"
    );
}

#[tokio::test]
async fn a_filter_leaves_what_it_names() {
    let house = House::growing().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    house.person("ines", "elder", Role::Advisor).await;
    house.store.set_plan("bend", 2013, 0, &plan(), house.now()).await.unwrap();
    let (bench, cove, dale) = ("North &#60;Bench&#62;", "Alder Cove", "Dale");
    for (asked, rows) in [
        ("sort=block", vec![cove, dale, bench, "River Bend"]),
        ("sort=block&farm=alder", vec![cove, dale, bench]),
        ("farm=elder", vec!["River Bend"]),
        ("cultivar=Fuji", vec![cove]),
        ("state=watching", vec![dale]),
        ("sort=block&waits=decide", vec![cove, dale]),
        ("waits=count", vec![dale]),
        ("state=watching&cultivar=Fuji", vec![]),
        ("year=2012", vec![]),
    ] {
        let page = house.page(&format!("/board?{asked}"), &ines).await;
        assert_eq!(if rows.is_empty() { vec![] } else { order(&page) }, rows, "{asked}");
    }
    let none = house.page("/board?state=watching&cultivar=Fuji", &ines).await;
    assert!(
        none.contains("No block is left by this filter.")
            && none.contains("<option value=\"Fuji\" selected>")
    );
    assert!(house.page("/board?year=2012", &ines).await.contains("has a season in 2012"));
    for (path, says) in [("/board?year=soon", "no bloom year"), ("/board?farm=nowhere", "no such farm")] {
        let answer = house.get(path, Some(&ines)).await;
        assert!(answer.status == 404 && answer.body.contains(says), "{path}: {}", answer.body);
    }
}

#[tokio::test]
async fn above_the_blocks_stands_what_changed_and_what_was_left_undone() {
    let house = House::growing().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let other = house.person("otto", "elder", Role::Advisor).await;
    let page = house.page("/board", &ines).await;
    assert!(page.contains("1 block waits for a count of open flowers"), "{page}");
    assert!(page.contains("2 blocks wait for the decision to thin or not"), "{page}");
    assert!(page.contains("Since Mon 29 Apr, 18:00"), "{page}");
    let people = house.store.people(None, 10).await.unwrap();
    let person = people.into_iter().find(|person| person.name == "ines").unwrap();
    let hers = house.store.on_behalf(Behalf {
        viewer: Some(person.id.clone()),
        person_id: Some(person.id),
        credential_id: None,
        request_id: "r1".into(),
        at: house.now(),
    });
    let note = json!({"id": "b01", "kind": "note", "at": GROWING, "text": crate::orchard::SHARP});
    hers.append_entries("bench", 2013, &[crate::orchard::entry(&note, house.now())]).await.unwrap();
    let page = house.page("/board?farm=alder", &ines).await;
    let news =
        "<a href=\"/blocks/bench/seasons/2013\">North &#60;Bench&#62;</a><ul><li>Tue 30 Apr, 12:00: Note: ";
    assert!(page.contains(news) && page.contains("(ines)</li>"), "{page}");
    assert!(page.contains("&#60;b&#62;drift&#60;/b&#62;") && !page.contains("<b>drift"), "{page}");
    let other = house.page("/board", &other).await;
    assert!(!other.contains("drift") && !other.contains("Alder"), "{other}");
}

#[tokio::test]
async fn a_year_that_is_over_has_no_fans_and_no_next_marks() {
    let house = House::in_season().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let page = house.page("/board", &ines).await;
    assert!(page.contains("season over") && !page.contains("<svg"), "{page}");
}

#[tokio::test]
async fn the_map_shows_the_same_blocks_by_their_sites() {
    let house = House::growing().await;
    let ines = house.person("ines", "alder", Role::Grower).await;
    let page = house.page("/board/map", &ines).await;
    // One site of three blocks, of which the most pressing gives the sign.
    assert_eq!(page.matches("<li class=\"keep\">").count(), 1, "{page}");
    for part in [
        "<desc>1 site. under way: 1 ",
        "href=\"/blocks/bench/seasons/2013\">North &#60;Bench&#62;</a>",
        "early Wed 1 May, 09:00; late Thu 2 May, 03:00",
        "Alder Cove",
        "Dale",
        "href=\"/board?\"",
        "<option value=\"Gala\">",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("River Bend"), "another farm's");
    let page = house.page("/board/map?sort=block&cultivar=Gala", &ines).await;
    assert!(!page.contains("Alder Cove") && page.contains("action=\"/board/map\""), "{page}");
    assert!(page.contains("href=\"/board?cultivar=Gala&#38;sort=block\""), "{page}");
    let page = house.page("/board/map?cultivar=Nothing", &ines).await;
    assert!(page.contains("No block is left by this filter.") && !page.contains("<figure"), "{page}");
    let page = house.page("/board?sort=block&cultivar=Gala", &ines).await;
    assert!(page.contains("href=\"/board/map?cultivar=Gala&#38;sort=block\""), "{page}");
}
