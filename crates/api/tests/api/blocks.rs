//! Blocks and plans.

use serde_json::{Value, json};

use crate::house::{House, bench, plan, ridge};

#[tokio::test]
async fn a_block_is_added_and_changed_by_its_fields() {
    let house = House::furnished().await;
    let added = house.post("blocks", bench()).await.expect(201);
    assert_eq!(added["version"], 1);
    assert_eq!(house.get("blocks/bench").await.expect(200), added);
    house.pokes();

    let changed = house.patch("blocks/bench", json!({"target_fruit_per_tree": 90})).await.expect(200);
    assert_eq!((&changed["target_fruit_per_tree"], &changed["version"]), (&json!(90), &json!(2)));
    assert_eq!(changed["cultivar"], "Gala");
    assert_eq!(house.pokes(), 1);
    let by_inputs = json!({
        "target_fruit_per_tree": null,
        "target": {"boxes_per_area": 1000, "fruit_per_box": 100, "trees_per_area": 1000},
    });
    let changed = house.patch("blocks/bench", by_inputs).await.expect(200);
    assert!(changed.get("target_fruit_per_tree").is_none());
    assert_eq!(house.get("blocks/bench").await.expect(200), changed);

    let refused = [
        (json!({"style_length_mm": 40}), "/style_length_mm"),
        (json!({"cultivar": null}), "/cultivar"),
        (json!({"site_id": "county"}), "/site_id"),
        (json!({"id": "other"}), "/id"),
        (json!({"colour": "red"}), "/colour"),
        (json!([]), ""),
    ];
    for (patch, place) in refused {
        house.patch("blocks/bench", patch).await.fault(422, place);
    }
    assert_eq!(house.get("blocks/bench").await.expect(200), changed, "nothing half written");
    assert_eq!(house.get("blocks?farm_id=alder").await.body["items"], json!([changed]));
    assert_eq!(house.get("blocks?farm_id=other").await.body["items"], json!([]));
}

#[tokio::test]
async fn a_block_stands_on_a_site_of_its_farm_or_of_the_server() {
    let house = House::furnished().await;
    house.post("farms", json!({"id": "birch", "name": "Birch Hollow"})).await.expect(201);
    let mut hollow = ridge();
    hollow["id"] = json!("hollow");
    hollow["farm_id"] = json!("birch");
    house.post("sites", hollow).await.expect(201);

    let with = |field: &str, value: &str| {
        let mut block = bench();
        block[field] = json!(value);
        block
    };
    let other_farms = house.post("blocks", with("site_id", "hollow")).await.fault(422, "/site_id");
    let none = house.post("blocks", with("site_id", "nowhere")).await.fault(422, "/site_id");
    assert_eq!(other_farms.replace("hollow", "nowhere"), none, "another farm's site is not told from none");
    house.post("blocks", with("farm_id", "nobody")).await.fault(422, "/farm_id");
    assert_eq!(house.get("blocks").await.body["items"], json!([]));
    house.post("blocks", with("site_id", "county")).await.expect(201);
}

#[tokio::test]
async fn a_curve_found_by_the_cultivar_is_written_down() {
    let house = House::furnished().await;
    let curve = |id: &str| {
        json!({"id": id, "form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [20, 1]],
               "source": "own trials", "status": "measured", "cultivars": ["Gala"]})
    };
    house.post("curves", curve("zz-gala")).await.expect(201);
    let mut block = bench();
    block.as_object_mut().unwrap().remove("curve");
    assert_eq!(house.post("blocks", block).await.expect(201)["curve"], "zz-gala");
    house.post("curves", curve("aa-gala")).await.expect(201);
    house.put("blocks/bench/seasons/2013/plan", plan()).await.expect(201);
    let season = house.get("blocks/bench/seasons/2013").await.expect(200);
    assert_eq!(season["curve"]["id"], "zz-gala");
}

#[tokio::test]
async fn a_plan_is_set_whole_and_shows_its_defaults() {
    let house = House::planted().await;
    let path = "blocks/bench/seasons/2013/plan";
    house.get(path).await.problem(404);
    let agreed = json!({"sprays": [
        {"material": "lime-sulfur-oil", "mark": 1.0},
        {"material": "village-brew", "mark": 0.6},
        {"material": "ammonium-thiosulfate", "mark": 0.5, "bound": "not-before"},
    ], "lead_hours": 36});
    let set = house.put(path, agreed.clone()).await.expect(201);
    assert_eq!(set["unknown_materials"], json!(["village-brew"]));
    let bounds: Vec<&Value> = set["sprays"].as_array().unwrap().iter().map(|spray| &spray["bound"]).collect();
    assert_eq!(bounds, ["not-before", "not-after", "not-before"]);
    assert_eq!(
        (&set["lead_hours"], &set["age_days"], &set["overrun_margin"]),
        (&json!(36), &json!(21), &json!(0.25))
    );
    assert!(set["caution"].as_str().unwrap().contains("label"));
    assert!(set["unconfirmed"].is_string());
    assert_eq!(house.pokes(), 1);
    assert_eq!(house.get(path).await.expect(200)["version"], 1);
    assert_eq!(house.put(path, agreed).await.expect(200)["version"], 1, "the same again");
    assert_eq!(house.put(path, plan()).await.expect(200)["version"], 2);
}

#[tokio::test]
async fn a_year_is_a_year() {
    let house = House::planted().await;
    for year in ["13", "abcd", "20133", "1899", "2200", "+201", "-2013"] {
        let answer = house.put(&format!("blocks/bench/seasons/{year}/plan"), plan()).await;
        assert!(answer.fault(422, "year").contains("four digits"), "{year}");
    }
    assert_eq!(house.get("blocks/bench/seasons").await.body["items"], json!([]));
}
