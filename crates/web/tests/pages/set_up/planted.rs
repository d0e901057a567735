use model::words;
use serde_json::json;
use store::Role;

use super::place::hidden;
use super::{led_to, refused};
use crate::house::House;

const BLOCK: [(&str, &str); 5] = [
    ("name", "South <Bench>"),
    ("cultivar", "Gala"),
    ("site_id", "ridge"),
    ("curve", "reference"),
    ("target_fruit_per_tree", "115"),
];

fn with<'a>(fields: &[(&'a str, &'a str)], more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let others = fields.iter().filter(|(name, _)| more.iter().all(|(own, _)| own != name));
    others.chain(more).copied().collect()
}

#[tokio::test]
async fn each_slip_in_a_block_has_its_sentence_beside_its_field() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/blocks/new";
    let page = house.page(path, &ines).await;
    assert!(
        page.contains("<option value=\"ridge\">Ridge</option>") && page.contains("North &#60;Bench&#62;"),
        "{page}"
    );
    assert!(!page.contains("River Bend"), "another farm's block lends nothing");
    for (typed, at, says) in [
        (&[("name", "")][..], "name", "is blank"),
        (&[("cultivar", "")], "cultivar", "is blank"),
        (&[("curve", "made-up")], "curve", "`made-up` is not a curve here"),
        (&[("curve", "")], "curve", "no curve is kept for cultivar `Gala`"),
        (&[("site_id", "elsewhere")], "site_id", "there is no site `elsewhere`"),
        (&[("target_fruit_per_tree", "")], "target_fruit_per_tree", "is missing; give it, or `target`"),
        (&[("target_fruit_per_tree", "1,150")], "target_fruit_per_tree", "found the text `1,150`"),
        (
            &[("target_fruit_per_tree", ""), ("target.boxes_per_area", "1500")],
            "target.trees_per_area",
            "is missing",
        ),
        (&[("area", "two")], "area", "found the text `two`"),
        (&[("style_lengths_mm", "8.8 88")], "", "88 is outside 1 to 30"),
        (&[("offset.day_c", "-0.5")], "offset.night_c", "is missing"),
        (&[("borrows.start", "bend")], "borrows.start", "bend"),
    ] {
        let answer = house.fill(path, &with(&BLOCK, typed), &ines).await;
        refused(
            &answer,
            &[says, "value=\"South &#60;Bench&#62;\""][..if typed[0].0 == "name" { 1 } else { 2 }],
        );
        if !at.is_empty() {
            assert!(answer.body.contains(&format!("id=\"{at}-wrong\"")), "{at}: {}", answer.body);
        }
    }
    assert_eq!(house.store.blocks(Some("alder"), None, 10).await.unwrap().len(), 1);
}

#[tokio::test]
async fn a_target_by_yield_shows_its_arithmetic_and_can_be_changed_to_a_number() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    // Ontario ministry of agriculture (published): 1,500 boxes of 100 over 1,000 trees are 150 a tree.
    let by_yield = [
        ("target_fruit_per_tree", ""),
        ("target.area_unit", "acre"),
        ("target.boxes_per_area", "1500"),
        ("target.fruit_per_box", "100"),
        ("target.trees_per_area", "1000"),
        ("area", "2,5"),
        ("area_unit", "hectare"),
        ("borrows.start", "bench"),
    ];
    let next = led_to(&house.fill("/farms/alder/blocks/new", &with(&BLOCK, &by_yield), &ines).await);
    let page = house.page(&next, &ines).await;
    assert!(page.contains("Target: 150 fruit a tree: 150,000 an acre"), "{page}");
    assert!(
        page.contains("name=\"target.boxes_per_area\" value=\"1500\"") && page.contains("<details open>"),
        "{page}"
    );
    let block = house
        .store
        .blocks(Some("alder"), None, 10)
        .await
        .unwrap()
        .into_iter()
        .find(|one| one.id != "bench")
        .unwrap();
    assert_eq!(
        (&block.details["area"], &block.details["borrows"]),
        (&json!(2.5), &json!({"start": "bench"}))
    );

    let path = format!("/blocks/{}/change", block.id);
    let tag = hidden(&page, "tag");
    let number = [("tag", tag.as_str()), ("target_fruit_per_tree", "120"), ("borrows.start", "")];
    let page = house.page(&led_to(&house.fill(&path, &with(&BLOCK, &number), &ines).await), &ines).await;
    assert!(page.contains("Saved.") && page.contains("120 fruit a tree, as entered."), "{page}");
    let details = house.store.block(&block.id).await.unwrap().unwrap().details;
    assert!(details.get("target").is_none() && details.get("borrows").is_none(), "{details}");
    let late = house.fill(&path, &with(&BLOCK, &number), &ines).await;
    refused(&late, &["Someone else changed this", "value=\"120\""]);
}

#[tokio::test]
async fn a_plan_keeps_its_marks_and_its_caution() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/blocks/bench/seasons/2013/plan";
    let page = house.page(path, &ines).await;
    assert!(
        page.contains("Plan of North &#60;Bench&#62; for 2013") && page.contains("Ammonium thiosulfate"),
        "{page}"
    );
    for (typed, at, says) in [
        (&[("spray0.material", "ammonium-thiosulfate")][..], "spray0.mark", "is missing"),
        (&[("spray0.mark", "0.6")], "spray0.material", "is missing"),
        (&[("spray0.material", "oil"), ("spray0.mark", "3")], "spray0.mark", "3 is outside 0.05 to 1.5"),
        (&[("spray1.material", "oil"), ("spray1.mark", "much")], "spray1.mark", "found the text `much`"),
        (&[("lead_hours", "0")], "lead_hours", "0 is outside 1 to 120"),
    ] {
        let answer = house.fill(path, typed, &ines).await;
        refused(&answer, &[says, &format!("id=\"{at}-wrong\"")]);
    }
    let good = [
        ("spray0.material", "ammonium-thiosulfate"),
        ("spray0.mark", "0,60"),
        ("spray2.material", "lime-sulfur-oil"),
        ("spray2.mark", "1"),
        ("spray2.bound", "not-after"),
        ("lead_hours", "36"),
    ];
    let page = house.page(&led_to(&house.fill(path, &good, &ines).await), &ines).await;
    assert!(
        page.contains("Saved.") && page.contains("value=\"0.6\"") && page.contains("value=\"36\""),
        "{page}"
    );
    assert!(
        page.contains("Ammonium thiosulfate, Lime sulfur with oil: ") && page.contains(words::UNCONFIRMED),
        "{page}"
    );
    let stored = house.store.plan("bench", 2013).await.unwrap().unwrap();
    assert_eq!(
        stored.doc,
        json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6},
        {"material": "lime-sulfur-oil", "mark": 1, "bound": "not-after"}], "lead_hours": 36})
    );

    // One made since the form was opened is not passed over.
    refused(&house.fill(path, &good, &ines).await, &["Someone else changed this"]);
    let mut changed = good.to_vec();
    let tag = hidden(&page, "tag");
    changed.push(("tag", &tag));
    changed.push(("spray1.material", "not-known"));
    changed.push(("spray1.mark", "0.8"));
    let page = house.page(&led_to(&house.fill(path, &changed, &ines).await), &ines).await;
    assert!(page.contains("Not among the materials known here: not-known."), "{page}");
    assert_eq!(house.store.plan("bench", 2013).await.unwrap().unwrap().version, 2);
}

#[tokio::test]
async fn many_blocks_are_tried_first_and_then_added_all_or_none() {
    let house = House::planted().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/blocks/import";
    assert!(house.page(path, &ines).await.contains("site_id of Ridge: ridge"));
    let table = "id,site_id,name,cultivar,curve,target_fruit_per_tree\nsouth,ridge,South <Bench>,Gala,reference,110\n\
        east,ridge,East,Fuji,reference,90\n";
    let broken = table.replace("Fuji,reference,90", "Fuji,reference,many");
    let answer = house.upload(path, &[("rows", None, broken.as_bytes())], &ines).await;
    refused(&answer, &["target fruit per tree, line 3: ", "South &#60;Bench&#62;"]);
    refused(
        &house.upload(path, &[("file", Some("a.png"), b"\x89PNG\r\n")], &ines).await,
        &["This is a picture (PNG)"],
    );

    let tried = house.upload(path, &[("file", Some("blocks.csv"), table.as_bytes())], &ines).await;
    assert!(
        tried.body.contains("2 new blocks; 0 are there already") && tried.body.contains("Add the 2 blocks"),
        "{}",
        tried.body
    );
    assert_eq!(house.store.blocks(Some("alder"), None, 10).await.unwrap().len(), 1, "nothing is stored yet");
    let packed = hidden(&tried.body, "packed").replace("&#43;", "+");
    let store = [("packed", None, packed.as_bytes()), ("step", None, &b"store"[..])];
    assert_eq!(led_to(&house.upload(path, &store, &ines).await), "/begin?farm=alder");
    let names: Vec<_> =
        house.store.blocks(Some("alder"), None, 10).await.unwrap().into_iter().map(|one| one.name).collect();
    assert_eq!(names.len(), 3, "{names:?}");
    let again = house.upload(path, &[("rows", None, table.as_bytes())], &ines).await;
    assert!(
        again.body.contains("0 new blocks; 2 are there already")
            && !again.body.contains("<form class=\"typed"),
        "{}",
        again.body
    );
    let otto = house.person("otto", "elder", Role::Advisor).await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    assert_eq!(house.upload(path, &store, &otto).await.status, axum::http::StatusCode::NOT_FOUND);
    assert_eq!(house.upload(path, &store, &nils).await.status, axum::http::StatusCode::FORBIDDEN);
}
