//! Spray records: what stands after corrections, what is not there yet, when
//! people may go in again, and the sheets made from it.

use axum::http::header;
use serde_json::{Value, json};

use crate::house::{House, at, counts, plan};
use crate::season::reckon;

const LOG: &str = "blocks/bench/seasons/2013/log";
const SPRAYS: &str = "blocks/bench/seasons/2013/sprays";
const JOB: &str = "blocks/bench/seasons/2013/job";

/// A spray of four acres that was finished at 22:30 UTC, with what a contractor
/// scribbled.
fn scribbled() -> Value {
    json!({
        "id": "spray-1", "kind": "spray", "material": "ammonium-thiosulfate", "product": "=ATS, \"12-0-0\"",
        "at": "2013-05-01T17:10:00-04:00", "finished_at": "2013-05-01T18:30:00-04:00", "reentry_interval": "24 h",
        "total_amount": "10 US gal", "area": "4", "area_unit": "acre", "wind": "5 mph", "temperature": "50 °F",
        "applicator": "Tom\nOkafor",
    })
}

fn correction(id: &str, day: u32, more: Value) -> Value {
    let mut entry = scribbled();
    entry.as_object_mut().unwrap().remove("id");
    for (field, value) in more.as_object().unwrap() {
        entry[field] = value.clone();
    }
    json!({"id": id, "kind": "correction", "at": format!("2013-05-{day:02}T12:00:00Z"), "of": "spray-1", "entry": entry})
}

async fn house(entries: Value) -> House {
    let house = House::planted().await;
    house.put("blocks/bench/seasons/2013/plan", plan()).await.expect(201);
    house.post(LOG, json!({"entries": entries})).await.expect(201);
    house
}

#[tokio::test]
async fn what_stands_after_corrections_is_listed_with_its_chain() {
    let house = house(json!([
        scribbled(),
        correction("k-1", 3, json!({"reentry_interval": "48 h"})),
        correction("k-2", 4, json!({"reentry_interval": "72 h"})),
        correction("k-3", 5, json!({"reentry_interval": "1 h"})),
        {"id": "w-1", "kind": "withdrawal", "at": "2013-05-05T13:00:00Z", "of": "k-3"},
        {"id": "spray-2", "kind": "spray", "material": "oil", "at": "2013-05-03T06:00:00Z"},
        {"id": "w-2", "kind": "withdrawal", "at": "2013-05-03T07:00:00Z", "of": "spray-2"},
        {"id": "spray-3", "kind": "spray", "material": "brew", "at": "2013-04-30T06:00:00Z"},
        {"id": "spray-4", "kind": "spray", "material": "Village Brew", "at": "2013-05-06T05:00:00Z",
            "finished_at": "2013-05-06T06:00:00Z"},
    ]))
    .await;
    let brew = json!({"id": "brew", "name": "Village brew", "role": "thinner", "reentry_hours": 12});
    house.post("materials", brew).await.expect(201);
    let listed = house.get("farms/alder/sprays").await.expect(200);
    let items = listed["items"].as_array().unwrap();
    let ids: Vec<&Value> = items.iter().map(|item| &item["entry"]).collect();
    assert_eq!(ids, ["spray-3", "spray-1", "spray-4"], "in the order of their begins");
    assert_eq!((&items[0]["draft"], &items[0]["reentry_at"]), (&json!(true), &Value::Null));
    assert_eq!((&items[1]["draft"], &items[1]["corrections"]), (&json!(false), &json!(["k-1", "k-2"])));
    assert_eq!(
        (&items[1]["reentry_at"], &items[1]["reentry_from"]),
        (&json!("2013-05-04T22:30:00Z"), &json!("record"))
    );
    assert_eq!(items[1]["record"]["total_amount"]["typed"], "10 US gal");
    assert_eq!(
        (&items[2]["reentry_at"], &items[2]["reentry_from"]),
        (&json!("2013-05-06T18:00:00Z"), &json!("material"))
    );
    let of = async |year: &str| house.get(&format!("farms/alder/sprays?year={year}")).await.expect(200);
    assert_eq!(of("2013").await["items"], listed["items"]);
    assert_eq!(of("2012").await["items"], json!([]));
}

/// 7 CFR 110.3(a), as of 2006 (published), with the crop and the block's place
/// known here; it held on the day. Without a name the first that held is taken.
#[tokio::test]
async fn what_a_profile_names_and_is_not_there_is_told() {
    let house = house(json!([scribbled()])).await;
    let place = json!({"type": "Point", "coordinates": [-74.17, 40.69]});
    house.patch("blocks/bench", json!({"geometry": place})).await.expect(200);
    let federal = house.get("farms/alder/sprays?profile=us-federal").await.expect(200);
    let spray = &federal["items"][0];
    assert_eq!(spray["missing"], json!(["registration_number", "certificate"]));
    assert!(spray["what_missing"].as_str().unwrap().contains("the applicator's certificate"), "{spray}");
    assert_eq!(spray["location"], "latitude 40.69000, longitude -74.17000");
    let first = house.get("farms/alder/sprays").await.expect(200);
    assert_eq!(
        (&first["items"][0]["profile"]["id"], &first["items"][0]["profile"]["status"]),
        (&json!("general"), &json!("constructed"))
    );
    let later = house.get("farms/alder/sprays?profile=eu-2023-564").await.expect(200);
    assert!(later["items"][0]["what_missing"].as_str().unwrap().ends_with("It holds from 2026-01-01 on."));
    for document in [federal, first, later] {
        let words = document.to_string().to_lowercase();
        assert!(!words.contains("complian") && !words.contains("legal"), "{words}");
    }
}

/// RFC 4180: a cell with a comma, a quote or a line break comes back as it was. A
/// mile an hour is 0.44704 m/s, an acre 0.40468564224 ha, a US gallon 3.785411784 L,
/// each by definition.
#[tokio::test]
async fn records_go_out_as_a_table() {
    let house = house(json!([scribbled(), {"id": "spray-0", "kind": "spray", "material": "oil", "at": "2013-05-03T06:00:00Z"}]))
        .await;
    let answer = house.get("farms/alder/sprays?format=csv&year=2013").await;
    assert_eq!(answer.headers[header::CONTENT_DISPOSITION], "attachment; filename=\"sprays-alder-2013.csv\"");
    let text = answer.expect(200).as_str().unwrap().to_owned();
    let mut table = csv::Reader::from_reader(text.as_bytes());
    let columns = table.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).collect();
    let cell = |row: usize, name: &str| {
        let place = columns.iter().position(|column| column == name);
        rows[row][place.unwrap_or_else(|| panic!("no column `{name}`"))].to_owned()
    };
    assert_eq!(cell(0, "product"), "'=ATS, \"12-0-0\"", "no spreadsheet runs it");
    assert_eq!(cell(0, "applicator"), "Tom\nOkafor");
    let number = |name: &str| cell(0, name).parse::<f64>().unwrap();
    for (name, value) in [
        ("total_amount_l", 37.854_117_84),
        ("area_ha", 1.618_742_568_96),
        ("wind_m_per_s", 2.2352),
        ("temperature_c", 10.0),
    ] {
        assert!((number(name) - value).abs() < 1e-9, "{name}: {}", number(name));
    }
    assert_eq!(
        (cell(0, "total_amount_as_typed"), cell(0, "total_amount_kg")),
        ("10 US gal".into(), String::new())
    );
    assert_eq!(cell(0, "finished_local"), "2013-05-01T18:30:00-04:00");
    assert_eq!(cell(0, "reentry_utc"), "2013-05-02T22:30:00Z");
    assert_eq!((cell(0, "state"), cell(1, "state")), ("finished".into(), "draft".into()));
    assert_eq!((cell(1, "finished_utc"), cell(1, "profile")), (String::new(), "general".into()));
}

#[tokio::test]
async fn a_notice_says_what_holds_of_one_spray() {
    let house = house(json!([
        scribbled(),
        correction("k-1", 3, json!({"reentry_interval": "48 h"})),
        {"id": "spray-2", "kind": "spray", "material": "oil", "at": "2013-05-03T06:00:00Z"},
        {"id": "w-2", "kind": "withdrawal", "at": "2013-05-03T07:00:00Z", "of": "spray-2"},
    ]))
    .await;
    let notice = house.get(&format!("{SPRAYS}/spray-1/notice")).await.expect(200);
    assert_eq!(notice["corrections"], json!(["k-1"]));
    let row = |label: &str| row(&notice, label);
    assert_eq!(row("Keep out until"), "Fri 3 May 2013, 18:30 EDT");
    assert_eq!(
        (row("Material"), row("Farm")),
        ("Ammonium thiosulfate".into(), "Alder Ridge Orchards".into())
    );
    for absent in ["spray-2", "k-1", "none"] {
        house.get(&format!("{SPRAYS}/{absent}/notice")).await.problem(404);
    }
    house.get("blocks/bench/seasons/2012/sprays/spray-1/notice").await.problem(404);
}

fn row(sheet: &Value, label: &str) -> String {
    let rows = sheet["rows"].as_array().unwrap();
    let found = rows.iter().find(|row| row["label"] == label);
    found.unwrap_or_else(|| panic!("no `{label}`: {sheet}"))["value"].as_str().unwrap().to_owned()
}

/// Arithmetic: ten acres are 4.0468564224 ha; at 1,000 L a hectare they take four
/// tanks of 1,000 L and a part of one, each full one with 2.5 % of product, 25 L.
#[tokio::test]
async fn a_job_goes_by_plan_block_and_season() {
    let house = house(json!(counts())).await;
    house.patch("blocks/bench", json!({"area": 10, "area_unit": "acre"})).await.expect(200);
    let bare = house.get(JOB).await.expect(200);
    assert_eq!((&bare["spray"], &bare["mix"]), (&json!(1), &Value::Null));
    assert_eq!(
        (row(&bare, "Mark"), row(&bare, "Likely time")),
        ("0.60 of the style".into(), "not known yet".into())
    );
    assert!(row(&bare, "Area").contains("10 acres") && row(&bare, "Rate").contains("2.5 %"), "{bare}");
    let below = bare["below"].to_string();
    assert!(below.contains("No one has confirmed here") && below.contains("label"), "{below}");

    house.set_clock("2013-05-02T00:00:00Z");
    house.upload("mast", crate::house::SPRING).await.expect(200);
    reckon(&house, &[]).await;
    let word = json!({"material": "ammonium-thiosulfate", "jurisdiction": "New Jersey", "by": "Ines", "on": "2013-04-22",
        "registered": true, "bloom_use": true});
    house.post("farms/alder/confirmations", word).await.expect(201);
    let asked = "volume_per_area=1000&volume_unit=L/ha&tank=1000&tank_unit=L";
    let job = house.get(&format!("{JOB}?spray=1&{asked}&profile=us-federal")).await.expect(200);
    assert_eq!(
        (&job["mix"]["full_tanks"], &job["mix"]["product_per_full_tank"]["litres"]),
        (&json!(4), &json!(25.0))
    );
    let season = house.get("blocks/bench/seasons/2013").await.expect(200);
    let reached = at(season["legs"][0]["reached_at"].as_str().unwrap()).spoken(chrono_tz::America::New_York);
    assert!(row(&job, "Likely time").contains(&reached), "{job}");
    assert!(row(&job, "Confirmed").starts_with("Ines confirmed on 2013-04-22"));
    assert!(row(&job, "Write down").contains("certificate"));
    let other = house.get(&format!("{JOB}?{asked}&area=1&area_unit=ha")).await.expect(200);
    assert_eq!(other["mix"]["full_tanks"], 1);
}

#[tokio::test]
async fn what_cannot_be_asked_is_named() {
    let house = house(json!([scribbled()])).await;
    let mix = "volume_per_area=1000&volume_unit=L/ha&tank=1000&tank_unit=L";
    for (path, place, says) in [
        ("farms/alder/sprays?profile=us".to_owned(), "profile", "us-federal"),
        ("farms/alder/sprays?year=13".to_owned(), "year", "13"),
        ("farms/alder/sprays?format=pdf".to_owned(), "format", "json, csv"),
        (format!("{JOB}?spray=0"), "spray", "1 to 1"),
        (format!("{JOB}?spray=2"), "spray", "1 to 1"),
        (format!("{JOB}?profile=us"), "profile", "us-federal"),
        (format!("{JOB}?{mix}"), "area", "missing"),
        (format!("{JOB}?{mix}&area=1&area_unit=acres"), "area_unit", "ha, acre"),
        (format!("{JOB}?{mix}&area=wide&area_unit=ha"), "area", "wide"),
        (format!("{JOB}?tank=1000&tank_unit=gal&area=1&area_unit=ha"), "tank_unit", "US-gal"),
        (format!("{JOB}?tank=1000"), "volume_per_area", "missing"),
    ] {
        let said = house.get(&path).await.fault(422, place);
        assert!(said.contains(says), "{path}: {said}");
    }
    let unknown = json!({"sprays": [{"material": "brew", "mark": 0.6}]});
    house.put("blocks/bench/seasons/2013/plan", unknown).await.expect(200);
    house.get(JOB).await.problem(409);
    house.put("blocks/bench/seasons/2013/plan", json!({"sprays": []})).await.expect(200);
    house.get(JOB).await.fault(422, "spray");
    house.get("blocks/bench/seasons/2012/job").await.problem(404);
}
