//! What stands around the clock: who confirmed what, by which table it is judged,
//! how much goes into a tank, and what another curve would say.

use axum::body::Body;
use axum::http::{Method, header};
use serde_json::{Value, json};
use store::{Role, Scope};

use crate::house::{House, SPRING, bench, counts, plan, shipped_catalogue, spray};
use crate::season::reckon;
use crate::story::{member, token_of};

const SEASON: &str = "blocks/bench/seasons/2013";

async fn sprung() -> House {
    let house = House::planted().await;
    house.put(&format!("{SEASON}/plan"), plan()).await.expect(201);
    house.upload("mast", SPRING).await.expect(200);
    house.post(&format!("{SEASON}/log"), json!({"entries": counts()})).await.expect(201);
    house.post(&format!("{SEASON}/log"), spray()).await.expect(201);
    house.pokes();
    house
}

fn word() -> Value {
    json!({"id": "c-1", "material": "ammonium-thiosulfate", "jurisdiction": "New Jersey", "by": "Ines Amaro",
        "on": "2013-06-04", "registered": true, "bloom_use": true})
}

#[tokio::test]
async fn a_confirmation_stands_until_it_is_taken_back() {
    let house = sprung().await;
    reckon(&house, &[]).await;
    let made = house.post("farms/alder/confirmations", word()).await;
    assert_eq!(made.headers[header::LOCATION], "/api/v1/farms/alder/confirmations/c-1");
    assert_eq!(made.expect(201)["by"], "Ines Amaro");
    assert_eq!(house.pokes(), 1);
    let season = house.get(SEASON).await.expect(200);
    assert_eq!((&season["stale"], &season["plan"]["unconfirmed_materials"]), (&json!(true), &json!([])));
    house.post("farms/alder/confirmations", word()).await.problem(409);

    let back = house.delete("farms/alder/confirmations/c-1").await;
    assert_eq!(
        house.get("farms/alder/confirmations/c-1").await.headers[header::ETAG],
        back.headers[header::ETAG]
    );
    assert!(back.expect(200)["taken_back_at"].is_string());
    assert_eq!(house.pokes(), 1);
    let plan = house.get(&format!("{SEASON}/plan")).await.expect(200);
    assert_eq!(plan["unconfirmed_materials"], json!(["ammonium-thiosulfate"]));
    let listed = house.get("farms/alder/confirmations").await.expect(200);
    assert_eq!(listed["items"].as_array().unwrap().len(), 1, "it stays on record");
    house.delete("farms/alder/confirmations/c-1").await.problem(404);
    house.delete("farms/alder/confirmations/c-2").await.problem(404);
    assert_eq!(house.pokes(), 0);
}

#[tokio::test]
async fn a_farm_goes_by_its_own_table_while_it_has_one() {
    let house = sprung().await;
    let ships = house.get("farms/alder/verdict-table").await.expect(200);
    assert_eq!(
        (&ships["own"], &ships["row"]),
        (&json!(false), &shipped_catalogue().rules.verdict.document()["row"])
    );
    reckon(&house, &[]).await;
    // As it was read, but for one line.
    let mut own = ships.clone();
    own["row"][3]["when"][0]["at_most"] = json!(3.5);
    let set = house.put("farms/alder/verdict-table", own.clone()).await.expect(200);
    assert_eq!((&set["own"], &set["row"]), (&json!(true), &own["row"]));
    assert_eq!((house.pokes(), &house.get(SEASON).await.body["stale"]), (1, &json!(true)));
    assert_eq!(house.delete("farms/alder/verdict-table").await.expect(200), ships);
    assert_eq!(house.pokes(), 1);
    house.delete("farms/alder/verdict-table").await.expect(200);
    assert_eq!(house.pokes(), 0, "nothing was changed");
}

#[tokio::test]
async fn a_cultivar_says_where_its_figures_come_from() {
    let house = House::new().await;
    let york = house.get("cultivars/york%20imperial").await.expect(200);
    assert_eq!((&york["name"], &york["biennial"]), (&json!("York"), &json!(true)));
    assert_eq!(
        (&york["stand_down_line"]["value"], &york["stand_down_line"]["status"]),
        (&json!(2.5), &json!("constructed"))
    );
    assert!(york["told"].as_str().unwrap().contains("every other year"));
    house.get("cultivars/Winter%20Glow").await.problem(404);
    let others = house.get("cultivars/default").await.expect(200);
    assert_eq!(
        (&others["listed"], &others["stand_down_line"]["status"]),
        (&json!(false), &json!("practice"))
    );
    let all = house.get("cultivars").await.expect(200);
    assert_eq!(all["items"].as_array().unwrap().last(), Some(&others));
}

/// Arithmetic: 2.5 % of 1,000 L is 25 L; two hectares at 750 L take a full tank and
/// a half. Whoever may only read may ask, since nothing is changed.
#[tokio::test]
async fn a_mix_goes_by_the_usual_rate_where_none_is_given() {
    let house = House::furnished().await;
    member(&house, "carl", "alder", Role::Consultant).await;
    let (_, secret) = token_of(&house, "carl", Scope::Read).await;
    let ask = async |body: Value| {
        let mut request =
            house.request(Method::POST, "mixing", Some("application/json"), Body::from(body.to_string()));
        request.headers_mut().insert(header::AUTHORIZATION, format!("Bearer {secret}").parse().unwrap());
        house.send(request).await
    };
    let mut asked = json!({"material": "ammonium-thiosulfate", "volume_per_area": 750, "volume_unit": "L/ha", "area": 2,
        "area_unit": "ha", "tank": 1000, "tank_unit": "L"});
    let mix = ask(asked.clone()).await.expect(200);
    assert_eq!((&mix["usual_rate"], &mix["full_tanks"]), (&json!(true), &json!(1)));
    assert_eq!(mix["product_per_full_tank"]["litres"], 25.0);
    assert_eq!(mix["part_tank"]["product"]["litres"], 12.5);
    assert!(mix["basis"].as_str().unwrap().contains("no source") && mix["caution"].is_string());
    // Lime sulfur has no usual rate.
    asked["material"] = json!("lime-sulfur");
    ask(asked.clone()).await.fault(422, "/rate");
    for (field, value) in
        [("rate", json!(1)), ("rate_unit", json!("percent")), ("rate_basis", json!("product-by-volume"))]
    {
        asked[field] = value;
    }
    let mix = ask(asked).await.expect(200);
    assert_eq!((&mix["usual_rate"], &mix["product_per_full_tank"]["litres"]), (&json!(false), &json!(10.0)));
    assert_eq!(house.pokes(), 0);
}

/// Tubes that grow 0.10 mm an hour at 12 °C and 0.25 at 24 °C, without a lag.
#[tokio::test]
async fn a_fitted_curve_is_one_that_can_be_added() {
    let house = House::new().await;
    let seen = |celsius: f64, hours: f64, rate: f64| json!({"celsius": celsius, "hours": hours, "length_mm": rate * hours});
    let asked = json!({"form": "nodes", "unit": "mm-per-hour", "source": "own trees", "zero_below": 4, "zero_above": 40,
        "observations": [seen(12.0, 24.0, 0.10), seen(12.0, 48.0, 0.10), seen(24.0, 12.0, 0.25), seen(24.0, 24.0, 0.25)]});
    let fit = house.post("curve-fits", asked.clone()).await.expect(200);
    assert_eq!(fit["picture"], Value::Null);
    assert_eq!(fit["parameters"][0]["name"], "rate_at_12");
    for (n, rate) in [(0, 0.10), (1, 0.25)] {
        assert!((fit["parameters"][n]["value"].as_f64().unwrap() - rate).abs() < 1e-9, "{fit}");
    }
    let pictured = house.post("curve-fits?picture=true", asked).await.expect(200);
    assert!(pictured["picture"].as_str().unwrap().starts_with("<svg"));
    assert_eq!(house.get("curves").await.body["items"].as_array().unwrap().len(), 2, "nothing was kept");
    let mut curve = fit["curve"].clone();
    curve["id"] = json!("own-trees");
    assert_eq!(house.post("curves", curve).await.expect(201)["status"], "measured");
}

#[tokio::test]
async fn a_season_stands_on_every_curve() {
    let house = sprung().await;
    reckon(&house, &[]).await;
    let season = house.get(SEASON).await.expect(200);
    let compared = house.get(&format!("{SEASON}/curves")).await.expect(200);
    assert_eq!((&compared["own"], &compared["state"]), (&json!("reference"), &season["state"]));
    let rows = compared["rows"].as_array().unwrap();
    let curves: Vec<&Value> = rows.iter().map(|row| &row["curve"]).collect();
    assert_eq!(curves, ["reference", "cardinal"]);
    assert_eq!((&rows[0]["at"], &rows[0]["apart_hours"]), (&season["legs"][0]["reached_at"], &json!(0.0)));
    assert_ne!(rows[1]["apart_hours"], 0.0);
    // In the block's own air, as its season is.
    let offset = json!({"day_c": 3, "night_c": 3, "note": "logger on the wall", "author": "Ines"});
    house.patch("blocks/bench", json!({"offset": offset})).await.expect(200);
    let warmer = house.get(&format!("{SEASON}/curves")).await.expect(200);
    assert!(warmer["rows"][0]["at"].is_string());
    assert!(warmer["rows"][0]["at"].as_str() < rows[0]["at"].as_str(), "{warmer}");
    house.get("blocks/bench/seasons/2012/curves").await.problem(404);
}

/// A block that has counted nothing goes by the start of the one that it names.
#[tokio::test]
async fn a_borrowed_start_is_compared_too() {
    let house = sprung().await;
    let mut dell = bench();
    (dell["id"], dell["name"], dell["borrows"]) = (json!("dell"), json!("Dell"), json!({"start": "bench"}));
    house.post("blocks", dell).await.expect(201);
    house.put("blocks/dell/seasons/2013/plan", plan()).await.expect(201);
    let own = house.get(&format!("{SEASON}/curves")).await.expect(200);
    let lent = house.get("blocks/dell/seasons/2013/curves").await.expect(200);
    assert_eq!(lent["rows"][0]["at"], own["rows"][0]["at"], "{lent}");
}
