use axum::http::StatusCode;
use serde_json::json;
use store::Role;

use super::{led_to, refused};
use crate::house::House;

impl House {
    /// With the block `south` beside `bench`, both with the same plan, and `east` without.
    async fn of_three() -> House {
        let house = House::planted().await;
        let bench = house.store.block("bench").await.unwrap().unwrap();
        for (id, cultivar) in [("south", "Fuji"), ("east", "Gala")] {
            let mut block = store::Block { id: id.into(), name: format!("The <{id}>"), ..bench.clone() };
            block.details["cultivar"] = json!(cultivar);
            house.store.add_block(&block).await.unwrap();
        }
        for id in ["bench", "south"] {
            house.store.set_plan(id, 2013, 0, &crate::orchard::plan(), house.now()).await.unwrap();
        }
        house
    }

    /// The mark of a block's second spray.
    async fn mark(&self, block: &str) -> f64 {
        let plan = self.store.plan(block, 2013).await.unwrap().unwrap();
        plan.doc["sprays"][1]["mark"].as_f64().unwrap()
    }

    async fn notes(&self, block: &str) -> Vec<String> {
        let log = self.store.log(block, 2013).await.unwrap();
        log.iter().map(|entry| entry.doc["text"].as_str().unwrap().to_owned()).collect()
    }
}

#[tokio::test]
async fn one_change_of_many_plans_is_shown_first_and_then_stored() {
    let house = House::of_three().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let path = "/farms/alder/plans";
    assert!(house.page("/farms/alder", &ines).await.contains(&format!("href=\"{path}\"")));
    let page = house.page(path, &ines).await;
    assert!(page.contains("value=\"east\"") && !page.contains("River Bend"), "{page}");
    let typed = [("year", "2013"), ("spray", "2"), ("mark", "0,7"), ("blocks", "south"), ("blocks", "east")];
    let looked = house.fill(path, &typed, &ines).await;
    assert_eq!(looked.status, StatusCode::OK, "{}", looked.body);
    for part in [
        "Nothing is changed yet.",
        "<th scope=\"row\">The &#60;south&#62;</th><td>Spray 2, Mark, share of the style: 0.6 → 0.7</td>",
        "<td>Left as it is: it has no plan for 2013.</td>",
        "Change the 1 plans",
        "name=\"blocks\" value=\"south\"",
    ] {
        assert!(looked.body.contains(part), "{part}: {}", looked.body);
    }
    assert!((house.mark("south").await - 0.6).abs() < 1e-9, "nothing is stored before one says so");
    let mut stored = typed.to_vec();
    stored.push(("step", "store"));
    let page = house.page(&led_to(&house.fill(path, &stored, &ines).await), &ines).await;
    assert!(page.contains("Done in 1 blocks; 1 left as they are."), "{page}");
    assert!((house.mark("south").await - 0.7).abs() < 1e-9 && (house.mark("bench").await - 0.6).abs() < 1e-9);

    // Without any ticked all of the farm are meant, here those of one cultivar.
    let of_gala =
        [("year", "2013"), ("spray", "2"), ("mark", "0.8"), ("cultivar", "Gala"), ("step", "store")];
    led_to(&house.fill(path, &of_gala, &ines).await);
    assert!((house.mark("bench").await - 0.8).abs() < 1e-9 && (house.mark("south").await - 0.7).abs() < 1e-9);
    let same = house.fill(path, &of_gala[..4], &ines).await;
    assert!(
        !same.body.contains("value=\"store\">\n</form>") && !same.body.contains("Change the"),
        "{}",
        same.body
    );
}

#[tokio::test]
async fn each_slip_in_a_change_of_many_has_its_sentence() {
    let house = House::of_three().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    for (typed, at, says) in [
        (&[("year", "2013"), ("mark", "0.7")][..], "spray", "which spray of the plan"),
        (&[("year", "2013"), ("spray", "1"), ("mark", "7")], "mark", "7 is outside"),
        (&[("year", "soon"), ("spray", "1"), ("mark", "0.7")], "year", "found the text `soon`"),
        (&[("year", ""), ("spray", "1"), ("mark", "0.7")], "year", "is missing"),
        (&[("year", "2013"), ("lead_hours", "0")], "lead_hours", "0 is outside 1 to 120"),
        (&[("year", "2013")], "", "names nothing to change"),
        (
            &[("year", "2013"), ("spray", "1"), ("mark", "0.7"), ("blocks", "moor")],
            "blocks",
            "no block `moor`",
        ),
    ] {
        let answer = house.fill("/farms/alder/plans", typed, &ines).await;
        let beside = if at.is_empty() { "role=\"alert\"".to_owned() } else { format!("id=\"{at}-wrong\"") };
        refused(&answer, &[says, &beside]);
    }
    // Of another farm's block not even its being there is told.
    let typed = [("year", "2013"), ("spray", "1"), ("mark", "0.7"), ("blocks", "bend"), ("step", "store")];
    refused(&house.fill("/farms/alder/plans", &typed, &ines).await, &["there is no block `bend`"]);
}

#[tokio::test]
async fn one_note_goes_into_many_logs() {
    let house = House::of_three().await;
    let nils = house.person("nils", "alder", Role::Grower).await;
    let path = "/farms/alder/note";
    assert!(house.page("/farms/alder", &nils).await.contains(&format!("href=\"{path}\"")));
    refused(
        &house.fill(path, &[("year", "2013"), ("text", " ")], &nils).await,
        &["id=\"text-wrong\"", "is missing"],
    );
    let typed = [("year", "2013"), ("text", "hives came"), ("blocks", "bench"), ("blocks", "south")];
    let page = house.page(&led_to(&house.fill(path, &typed, &nils).await), &nils).await;
    assert!(page.contains("Done in 2 blocks; 0 left as they are."), "{page}");
    led_to(&house.fill(path, &[("year", "2013"), ("text", "rain"), ("cultivar", "Fuji")], &nils).await);
    assert_eq!(house.notes("south").await, ["hives came", "rain"]);
    assert_eq!(house.notes("bench").await, ["hives came"]);

    let cora = house.person("cora", "alder", Role::Consultant).await;
    let otto = house.person("otto", "elder", Role::Advisor).await;
    for (who, status) in [(&cora, StatusCode::FORBIDDEN), (&otto, StatusCode::NOT_FOUND)] {
        for path in [path, "/farms/alder/plans"] {
            assert_eq!(house.get(path, Some(who)).await.status, status, "{path}");
            assert_eq!(house.fill(path, &typed, who).await.status, status, "{path}");
        }
    }
    assert_eq!(house.fill("/farms/alder/plans", &typed, &nils).await.status, StatusCode::FORBIDDEN);
    assert_eq!(house.notes("bench").await.len(), 1);
}
