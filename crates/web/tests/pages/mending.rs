//! What was written down is put right: by whom, and all of it.

use axum::http::StatusCode;
use serde_json::{Value, json};
use store::{Block, Role};

use crate::field::{in_bloom, post, shown, value};
use crate::house::House;
use crate::orchard::{log, plan};

const RECORD: &str = "/log?block=bench&year=2013&what=spray-record&of=b+1";
const FINISHED: &str = "2013-05-02T15:30:00-04:00";

#[tokio::test]
async fn a_finished_spray_that_rain_took_off_is_corrected() {
    let (house, gus) = in_bloom().await;
    let spray = json!({"id": "b 1", "kind": "spray", "at": "2013-05-02T14:00:00-04:00", "finished_at": FINISHED,
        "material": "ammonium-thiosulfate", "applicator": "Tom Ash", "rate": "4", "share_of_block": 0.5});
    house.write("bench", &[spray]).await;
    let page = house.page("/log?block=bench&what=note", &gus).await;
    let link = "/log?block=bench&amp;year=2013&amp;what=spray-record&amp;of=b%201\">Correct";
    assert!(page.contains(link), "{page}");

    // The form of its begin alone would hide the rest, and that of the rest only adds.
    for what in ["spray-rest", "spray"] {
        let answer = house.get(&format!("/log?block=bench&year=2013&what={what}&of=b%201"), Some(&gus)).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER);
        assert_eq!(answer.location.as_deref(), Some(RECORD));
    }
    let page = house.page(RECORD, &gus).await;
    assert_eq!(shown(&page), ["spray-record"]);
    assert!(
        page.contains("This corrects") && page.contains("The whole record of a spray that is over"),
        "{page}"
    );
    assert!(page.contains("<h2>A finished spray</h2>") && page.contains("<label>Begun "), "{page}");
    let form = page.split("data-what=\"spray-record\"").nth(1).unwrap().split("</form>").next().unwrap();
    for filled in [
        "name=\"of\" value=\"b 1\"",
        "name=\"at\" value=\"2013-05-02T14:00\"",
        "name=\"finished_at\" data-as=\"moment\" value=\"2013-05-02T15:30\"",
        "name=\"material\" data-as=\"text\" value=\"ammonium-thiosulfate\"",
        "name=\"share_of_block\" data-as=\"percent\" value=\"50\"",
        "name=\"applicator\" data-as=\"text\" value=\"Tom Ash\"",
    ] {
        assert!(form.contains(filled), "{filled}: {form}");
    }

    let sent = "block=bench&what=spray-record&id=c1&year=2013&of=b+1&at=2013-05-02T14%3A05&finished_at=2013-05-02T15%3A30\
        &material=ammonium-thiosulfate&took=false&applicator=Tom+Ash&rate=&share_of_block=50";
    let wrong = post(&house, &gus, &sent.replace("14%3A05", "never")).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("When: “2013-05-02Tnever” is no time"), "{}", wrong.body);
    let answer = post(&house, &gus, sent).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let rows = house.store.log("bench", 2013).await.unwrap();
    let entry = &rows[1].doc["entry"];
    assert_eq!((rows[1].kind.as_str(), rows[1].doc["of"].as_str()), ("correction", Some("b 1")));
    assert_eq!((entry["took"].as_bool(), entry["at"].as_str()), (Some(false), Some("2013-05-02T18:05:00Z")));
    assert_eq!((entry.get("rate"), entry["share_of_block"].as_f64()), (None, Some(0.5)));
    let sprays = house.page("/farms/alder/sprays/2013", &gus).await;
    assert!(sprays.contains("no: it was spoiled") && !sprays.contains("Draft"), "{sprays}");
    assert_eq!(value(&page, "spray-record", "what"), "spray-record");
}

#[tokio::test]
async fn what_conflicts_is_sent_once_more_as_an_entry_of_its_own() {
    let (house, gus) = in_bloom().await;
    let form = |id: &str, text: &str| {
        format!("block=bench&what=note&id={id}&year=2013&at=2013-05-02T10%3A00&text={text}")
    };
    assert_eq!(post(&house, &gus, &form("x1", "wet")).await.status, StatusCode::SEE_OTHER);
    // Back, an edit, and saved again.
    let answer = post(&house, &gus, &form("x1", "wet+grass")).await;
    assert_eq!(answer.status, StatusCode::CONFLICT, "{}", answer.body);
    assert!(answer.body.contains("wet grass</textarea>"), "what was typed stays: {}", answer.body);
    let id = value(&answer.body, "note", "id");
    assert_ne!(id, "x1");
    assert_eq!(post(&house, &gus, &form(&id, "wet+grass")).await.status, StatusCode::SEE_OTHER);
    assert_eq!(house.store.log("bench", 2013).await.unwrap().len(), 2);
}

#[tokio::test]
async fn a_season_without_a_plan_is_not_told_that_its_sprays_are_on() {
    let house = House::planted().await;
    house.set_clock("2013-05-04T22:00:00Z");
    let gus = house.person("gus", "alder", Role::Grower).await;
    let before = |entry: &Value| entry["at"].as_str() < Some("2013-05-04");
    let entries: Vec<Value> = log().into_iter().filter(before).collect();
    let counts: Vec<Value> = entries.iter().filter(|entry| entry["kind"] == "open-count").cloned().collect();
    house.write("bench", &counts).await;
    house.reckon().await;
    let today = house.page("/today", &gus).await;
    assert!(
        today.contains("No spray is planned for this season, so none is timed; leg 1 stands at"),
        "{today}"
    );
    assert!(!today.contains("All sprays of the plan are on"), "{today}");

    house.store.set_plan("bench", 2013, 0, &plan(), house.now()).await.unwrap();
    let others: Vec<Value> = entries.into_iter().filter(|entry| !counts.contains(entry)).collect();
    house.write("bench", &others).await;
    house.reckon().await;
    let today = house.page("/today", &gus).await;
    assert!(today.contains("All sprays of the plan are on; leg 3 stands at"), "{today}");
}

#[tokio::test]
async fn a_correction_bears_the_name_of_who_corrected() {
    let (house, gus) = in_bloom().await;
    let ann = house.person("ann", "alder", Role::Advisor).await;
    let sprayed = json!({"id": "s1", "kind": "spray", "at": "2013-05-02T18:00:00Z", "finished_at": FINISHED,
        "material": "ammonium-thiosulfate", "rate": "4", "by": "Nils Orme"});
    let decided = json!({"id": "d1", "kind": "decision", "at": "2013-05-01T12:00:00Z", "thin": false, "by": "Nils Orme"});
    house.write("bench", &[sprayed, decided]).await;
    for sent in [
        "what=spray-record&id=x1&of=s1&at=2013-05-02T14%3A00&finished_at=2013-05-02T15%3A30\
         &material=ammonium-thiosulfate&rate=5",
        "what=decision&id=x2&of=d1&at=2013-05-01T08%3A00&thin=true",
    ] {
        let answer = post(&house, &ann, &format!("block=bench&year=2013&{sent}")).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    }
    let rows = house.store.log("bench", 2013).await.unwrap();
    let of = |id: &str| rows.iter().find(|row| row.id == id).unwrap().doc.clone();
    assert_eq!((&of("x1")["by"], &of("x1")["entry"]["by"]), (&json!("ann"), &json!("Nils Orme")));
    house.reckon().await;
    let sprays = house.page("/farms/alder/sprays/2013", &gus).await;
    assert!(sprays.contains("Written by Nils Orme, corrected by ann, received"), "{sprays}");
    let season = house.page("/blocks/bench/seasons/2013", &gus).await;
    assert!(season.contains("Corrected Thu 2 May, 18:00 by ann, now Thu 2 May, 14:00: Sprayed"), "{season}");
    assert!(season.contains("Nils Orme, received"), "{season}");
    let report = house.page("/blocks/bench/seasons/2013/report", &gus).await;
    assert!(report.contains("by Nils Orme, corrected by ann: thin;"), "{report}");

    let back = "block=bench&what=withdrawal&id=x3&year=2013&of=s1&reason=other+block&at=2013-05-02T17%3A50";
    assert_eq!(post(&house, &ann, back).await.status, StatusCode::SEE_OTHER);
    let season = house.page("/blocks/bench/seasons/2013", &gus).await;
    assert!(season.contains("Withdrawn Thu 2 May, 17:50 by ann: other block"), "{season}");
}

/// Blocks of `alder` that come before its own in order of id.
async fn crowd(house: &House, archived: bool) {
    let bench = house.store.block("bench").await.unwrap().unwrap();
    let block = |id: String| Block { name: id.clone(), id, ..bench.clone() };
    let blocks: Vec<Block> = (0..505).map(|n| block(format!("a{n:03}"))).collect();
    house.store.add_blocks(&blocks).await.unwrap();
    for block in blocks.iter().filter(|_| archived) {
        house.store.archive_block(block, Some(house.now())).await.unwrap();
    }
}

const NOTE: &str = "block=bench&what=note&id=n1&year=2013&at=2013-05-02T10%3A00&text=wet";

#[tokio::test]
async fn a_block_beyond_a_page_of_them_is_written_of_when_it_is_asked_for() {
    let (house, gus) = in_bloom().await;
    crowd(&house, false).await;
    let spray = json!({"id": "s1", "kind": "spray", "at": "2013-05-02T18:00:00Z", "material": "captan"});
    house.write("bench", std::slice::from_ref(&spray)).await;
    house.write("a100", &[spray]).await;
    house.reckon().await;
    let today = house.page("/today", &gus).await;
    assert!(today.contains("/log?block=bench&amp;what="), "{today}");
    let page = house.page("/log?block=bench&what=note", &gus).await;
    assert!(page.contains("<option value=\"bench\" selected>"), "{page}");
    assert!(page.contains("<option value=\"a000\">"), "{page}");
    let data = page.split("id=\"orchard\">").nth(1).unwrap().split("</script>").next().unwrap();
    let data: Value = serde_json::from_str(data).unwrap();
    let drafts = |id: &str| {
        let block = data["blocks"].as_array().unwrap().iter().find(|block| block["id"] == id).unwrap();
        block["drafts"].as_array().unwrap().len()
    };
    assert_eq!((drafts("bench"), drafts("a100"), drafts("a101")), (1, 1, 0));
    let answer = post(&house, &gus, NOTE).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let other = house.get("/log?block=bend&what=note", Some(&gus)).await;
    assert_eq!(other.status, StatusCode::NOT_FOUND, "another's stays away");
}

#[tokio::test]
async fn blocks_that_nobody_writes_of_take_no_room() {
    let (house, gus) = in_bloom().await;
    crowd(&house, true).await;
    let page = house.page("/log", &gus).await;
    assert!(page.contains("<option value=\"bench\" selected>"), "{page}");
    assert!(!page.contains("<option value=\"a000\""), "{page}");
    let gone = house.get("/log?block=a000", Some(&gus)).await;
    assert_eq!(gone.status, StatusCode::NOT_FOUND, "an archived one is not written of");
}
