//! Curves and materials, those that ship and own ones.

use serde_json::{Value, json};

use crate::house::{House, plan};
use crate::season::reckon;

fn ids(list: &Value) -> Vec<&str> {
    list["items"].as_array().unwrap().iter().map(|item| item["id"].as_str().unwrap()).collect()
}

#[tokio::test]
async fn own_curves_stand_beside_those_that_ship() {
    let house = House::new().await;
    let own = json!({"id": "valley", "form": "beta", "unit": "mm-per-day", "tmin": 5, "topt": 27, "tmax": 40,
                     "rate_at_topt": 9, "source": "own trials", "status": "measured"});
    house.post("curves", own.clone()).await.expect(201);
    house.post("curves", own.clone()).await.expect(200);
    let mut other = own.clone();
    other["rate_at_topt"] = json!(8);
    house.post("curves", other).await.problem(409);
    let mut taken = own;
    taken["id"] = json!("reference");
    assert!(house.post("curves", taken.clone()).await.fault(409, "/id").contains("reference"));
    taken["id"] = json!("inline");
    house.post("curves", taken).await.fault(422, "/id");

    let listed = house.get("curves").await.expect(200);
    assert_eq!(ids(&listed), ["reference", "cardinal", "valley"]);
    let shipped: Vec<&Value> =
        listed["items"].as_array().unwrap().iter().map(|curve| &curve["shipped"]).collect();
    assert_eq!(shipped, [true, true, false]);
    let valley = house.get("curves/valley").await.expect(200);
    assert_eq!((&valley["unit"], &valley["status"]), (&json!("mm-per-day"), &json!("measured")));
    // The design page's check value of the daily index: half a style at 15 °C.
    let reference = house.get("curves/reference").await.expect(200);
    let at_15 = reference["rates_per_day"].as_array().unwrap().iter().find(|node| node[0] == 15.0).unwrap();
    assert!((at_15[1].as_f64().unwrap() - 0.5).abs() < 1e-12);
    house.get("curves/none").await.problem(404);
}

#[tokio::test]
async fn own_materials_stand_beside_those_that_ship() {
    let house = House::planted().await;
    let season = "blocks/bench/seasons/2013";
    house.put(&format!("{season}/plan"), plan()).await.expect(201);
    reckon(&house, &[]).await;
    assert_eq!(house.get(season).await.expect(200)["stale"], false);
    house.pokes();
    let own = json!({"id": "village-brew", "name": "Village brew", "role": "thinner"});
    house.post("materials", own.clone()).await.expect(201);
    assert_eq!(house.pokes(), 1);
    assert_eq!(house.get(season).await.expect(200)["stale"], true, "a spray may name it");
    house.post("materials", own.clone()).await.expect(200);
    assert_eq!(house.pokes(), 0);
    house
        .post("materials", json!({"id": "village-brew", "name": "Village brew", "role": "other"}))
        .await
        .problem(409);
    house.post("materials", json!({"id": "oil", "name": "Oil", "role": "other"})).await.fault(409, "/id");
    let answer = house.post("materials", json!({"name": "Nameless", "role": "soap"})).await;
    answer.fault(422, "/id");
    answer.fault(422, "/role");
    assert!(ids(&house.get("materials").await.expect(200)).contains(&"village-brew"));
    assert_eq!(house.get("materials/oil").await.expect(200)["role"], "acts-on-flowers");

    let planned = json!({"sprays": [{"material": "village-brew", "mark": 0.6}]});
    let set = house.put(&format!("{season}/plan"), planned).await.expect(200);
    assert_eq!(set["unknown_materials"], json!([]));
}
