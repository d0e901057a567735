//! Files that are put into the watched folder.

use std::fs;
use std::path::PathBuf;

use engine::watch;
use model::series::Reading;

use super::*;

async fn house() -> (House, PathBuf) {
    let mut house = House::new(Vec::new()).await;
    house.site("ridge", 180.0, None).await;
    let source = house.engine.store.source("ridge-source").await.unwrap().unwrap();
    let mapping =
        json!({"time_column": "time", "temperature_column": "temp", "unit": "celsius", "kind": "instant"});
    house.engine.store.set_mapping(&source, &mapping).await.unwrap();
    let folder = house.folder.path().join("station-files");
    fs::create_dir_all(folder.join("ridge-source")).unwrap();
    house.engine.station_files = Some(folder.clone());
    (house, folder.join("ridge-source"))
}

async fn readings(house: &House) -> Vec<Reading> {
    let weather = house.engine.store.site_weather("ridge", Instant::MIN, Instant::MAX).await.unwrap();
    weather.sources[0].1.clone()
}

#[tokio::test]
async fn a_file_is_taken_once_it_rests_and_again_when_it_has_grown() {
    let (house, folder) = house().await;
    let first = "time,temp\n2013-05-01T00:00:00Z,9.5\n2013-05-01T01:00:00Z,9.";
    fs::write(folder.join("may.csv"), first).unwrap();
    fs::write(folder.join("half.csv.part"), "time,temp\n2013-05-01T03:00:00Z,1.0\n").unwrap();
    house.set(30);
    assert_eq!(watch::pass(&house.engine).await.unwrap(), 0, "it may still be written to");
    let whole = format!("{first}1\n2013-05-01T02:00:00Z,8.8\n");
    fs::write(folder.join("may.csv"), whole).unwrap();
    house.set(31);
    assert_eq!(watch::pass(&house.engine).await.unwrap(), 0, "it was written to");
    house.set(32);
    assert_eq!(watch::pass(&house.engine).await.unwrap(), 3);
    assert_eq!(readings(&house).await[1].celsius, 9.1, "never as half a row");
    house.set(33);
    assert_eq!(watch::pass(&house.engine).await.unwrap(), 0, "nothing has changed");
    let [file] = &house.engine.store.taken_files("ridge-source").await.unwrap()[..] else { panic!() };
    assert_eq!((file.name.as_str(), file.stored, &file.fault), ("may.csv", 3, &None));
}

#[tokio::test]
async fn a_file_that_cannot_be_read_says_why_and_holds_up_no_other() {
    let (house, folder) = house().await;
    fs::write(folder.join("a.csv"), "when,temp\n2013-05-01T00:00:00Z,9.5\n").unwrap();
    fs::write(folder.join("b.csv"), "time,temp\n2013-05-01T00:00:00Z,9.5\n").unwrap();
    fs::create_dir_all(folder.parent().unwrap().join("nobodys")).unwrap();
    for hour in 30..32 {
        house.set(hour);
        watch::pass(&house.engine).await.unwrap();
    }
    assert_eq!(readings(&house).await.len(), 1);
    let files = house.engine.store.taken_files("ridge-source").await.unwrap();
    let fault = files[0].fault.as_deref().unwrap();
    assert!(fault.contains("time"), "{fault}");
    assert!(files[1].fault.is_none());
}

#[tokio::test]
async fn what_was_corrected_stays_when_the_file_grows() {
    let (house, folder) = house().await;
    let first = "time,temp\n2013-05-01T00:00:00Z,9.5\n2013-05-01T01:00:00Z,9.1\n";
    let grown = format!("{first}2013-05-01T02:00:00Z,8.8\n");
    let rewritten = grown.replace("9.5", "9.4");
    let mut hour = 30;
    let mut put = async |text: &str| {
        fs::write(folder.join("may.csv"), text).unwrap();
        for _ in 0..2 {
            house.set(hour);
            hour += 1;
            watch::pass(&house.engine).await.unwrap();
        }
        readings(&house).await.iter().map(|reading| reading.celsius).collect::<Vec<_>>()
    };
    assert_eq!(put(first).await, [9.5, 9.1]);
    let by_hand = Reading::instant(BEGIN, 9.9);
    house.engine.store.store_readings("ridge-source", &[by_hand], house.clock.now()).await.unwrap();
    assert_eq!(put(&grown).await, [9.9, 9.1, 8.8], "the file says nothing new of that hour");
    assert_eq!(put(&format!("{rewritten} ")).await[0], 9.4, "now it does");
}

#[tokio::test]
async fn links_are_not_followed() {
    let (house, folder) = house().await;
    let others = house.folder.path().join("others.csv");
    fs::write(&others, "time,temp\n2013-05-01T00:00:00Z,9.5\n").unwrap();
    std::os::unix::fs::symlink(&others, folder.join("mine.csv")).unwrap();
    for hour in 30..33 {
        house.set(hour);
        assert_eq!(watch::pass(&house.engine).await.unwrap(), 0);
    }
    assert_eq!(house.engine.store.taken_files("ridge-source").await.unwrap(), []);
}

#[tokio::test]
async fn a_refused_file_is_read_once_its_mapping_is_set() {
    let (house, folder) = house().await;
    fs::write(folder.join("a.csv"), "when,temp\n2013-05-01T00:00:00Z,9.5\n").unwrap();
    for hour in 30..32 {
        house.set(hour);
        assert_eq!(watch::pass(&house.engine).await.unwrap(), 0);
    }
    let source = house.engine.store.source("ridge-source").await.unwrap().unwrap();
    let mapping =
        json!({"time_column": "when", "temperature_column": "temp", "unit": "celsius", "kind": "instant"});
    house.engine.store.set_mapping(&source, &mapping).await.unwrap();
    house.set(33);
    assert_eq!(watch::pass(&house.engine).await.unwrap(), 1);
}
