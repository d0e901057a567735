//! Readings that are not to be believed, from whichever side and in whatever order
//! they come.

use super::*;

/// Mild days, from two days before the clock's start to two after it.
fn mild() -> Vec<Reading> {
    // Warmer from day to day: weather never repeats itself.
    let celsius = |hour: i64| {
        12.0 + hour as f64 / 50.0 + 4.0 * ((hour % 24) as f64 / 24.0 * std::f64::consts::TAU).sin()
    };
    (-48..48).map(|hour| Reading::instant(BEGIN.plus(hour * HOUR), celsius(hour))).collect()
}

async fn season_of(readings: &[&[Reading]]) -> serde_json::Value {
    let house = House::new(Vec::new()).await;
    house.site("ridge", 180.0, None).await;
    house.block("bench", "ridge").await;
    house.set(50);
    for readings in readings {
        house.engine.store.store_readings("ridge-source", readings, house.clock.now()).await.unwrap();
        reckon::pass(&house.engine).await.unwrap();
    }
    house.season("bench").await
}

fn without_notes(season: &serde_json::Value) -> serde_json::Value {
    let mut season = season.clone();
    season["notes"] = json!(null);
    season
}

fn note(season: &serde_json::Value) -> Option<&str> {
    let notes = season["notes"].as_array().unwrap();
    notes.iter().find(|note| note["code"] == "readings-failed")?["text"].as_str()
}

#[tokio::test]
async fn a_spike_moves_nothing_and_is_told() {
    let clean: Vec<Reading> =
        mild().into_iter().filter(|reading| reading.at != BEGIN.plus(20 * HOUR)).collect();
    let mut spiked = mild();
    spiked
        .iter_mut()
        .filter(|reading| reading.at == BEGIN.plus(20 * HOUR))
        .for_each(|reading| reading.celsius = -11.0);
    let (with, without) = (season_of(&[&spiked]).await, season_of(&[&clean]).await);
    assert_eq!(without_notes(&with), without_notes(&without), "to the second, that of the file without it");
    assert!(
        note(&with).unwrap().starts_with("1 reading of first failed the checks and was not used: -11.0 °C")
    );
    assert_eq!(note(&without), None);
}

#[tokio::test]
async fn readings_give_the_same_season_in_whatever_order_they_come() {
    let mut spiked = mild();
    spiked[70].celsius = -11.0;
    // The spike comes as the newest of what is there, long before what shows it
    // for one; or last of all; or as a correction of a sound value.
    let whole = season_of(&[&spiked]).await;
    let first = season_of(&[&spiked[..71], &spiked[71..]]).await;
    let last = season_of(&[&spiked[..70], &spiked[71..], &spiked[70..71]]).await;
    let corrected = season_of(&[&mild(), &spiked]).await;
    for other in [first, last, corrected] {
        assert_eq!(other, whole);
    }
    assert!(note(&whole).is_some());
    assert_eq!(note(&season_of(&[&spiked, &mild()]).await), None, "taken back");
}

#[tokio::test]
async fn a_block_in_a_hollow_has_its_own_air() {
    let house = House::new(Vec::new()).await;
    house.site("ridge", 180.0, None).await;
    for block in ["bench", "hollow"] {
        house.block(block, "ridge").await;
    }
    let mut hollow = house.engine.store.block("hollow").await.unwrap().unwrap();
    hollow.details["curve"] = json!({"form": "nodes", "unit": "fraction-per-day", "nodes": [[0, 0], [30, 3]],
        "source": "made for this test", "status": "constructed"});
    let bench = json!(hollow.details);
    hollow.details["offset"] =
        json!({"day_c": 0.0, "night_c": -3.0, "note": "logger in row 12", "author": "Ines Kolbe"});
    let store = &house.engine.store;
    store
        .change_block(&store.block("hollow").await.unwrap().unwrap(), "hollow", &hollow.details, None)
        .await
        .unwrap();
    store.change_block(&store.block("bench").await.unwrap().unwrap(), "bench", &bench, None).await.unwrap();
    house.set(50);
    store.store_readings("ridge-source", &mild(), house.clock.now()).await.unwrap();
    reckon::pass(&house.engine).await.unwrap();
    let reached = async |block: &str| {
        let season = house.season(block).await;
        season["legs"][0]["reached_at"].as_str().unwrap().parse::<Instant>().unwrap()
    };
    let later = reached("hollow").await.since(reached("bench").await);
    // At 0.1 a °C and day, three degrees over a night of some eight hours.
    assert!((HOUR / 2..3 * HOUR).contains(&later), "{later} s");
}
