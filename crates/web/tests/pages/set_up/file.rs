use axum::http::StatusCode;
use model::series::Reading;
use model::time::Instant;
use store::{Role, Source, Way};

use super::place::hidden;
use super::{led_to, refused};
use crate::house::{Answer, House, whole};

/// Hours of a morning in UTC, one of them no hour, and one without a temperature.
const CLEAR: &str = "Time (UTC),Air temperature (°C),Note <i>\n2013-05-01 06:00,8.5,a\n2013-05-01 07:00,9.5,\n\
    2013-05-01 25:00,9.9,\n2013-05-01 08:00,,\n2013-05-01 09:00,11.0,\n";
/// No unit, and days that may be months.
const UNCLEAR: &str = "date,temp\n04/05/2013 10:00,11.5\n04/05/2013 11:00,12.1\n05/05/2013 11:00,12.1\n";

const PATH: &str = "/sites/hill/import";

/// A farm's own site with a source that comes by file.
async fn house() -> House {
    let house = House::planted().await;
    let site = store::Site {
        id: "hill".into(),
        farm_id: Some("alder".into()),
        name: "Hill".into(),
        ..house.store.site("ridge").await.unwrap().unwrap()
    };
    house.store.add_site(&site).await.unwrap();
    let mast = house.store.source("mast").await.unwrap().unwrap();
    let source =
        Source { id: "logger".into(), site_id: "hill".into(), name: "Logger".into(), way: Way::File, ..mast };
    house.store.add_source(&source).await.unwrap();
    house
}

async fn send(house: &House, file: &[u8], more: &[(&str, &str)], cookie: &str) -> Answer {
    let mut parts: Vec<(&str, Option<&str>, &[u8])> =
        vec![("source", None, b"logger"), ("file", Some("mast.csv"), file)];
    parts.extend(more.iter().map(|(name, value)| (*name, None, value.as_bytes())));
    house.upload(PATH, &parts, cookie).await
}

/// The button of a page that showed a file.
async fn store(house: &House, page: &str, cookie: &str) -> Answer {
    let packed = hidden(page, "packed").replace("&#43;", "+");
    let parts: Vec<(&str, Option<&str>, Vec<u8>)> = vec![
        ("do", None, b"store".to_vec()),
        ("source", None, b"logger".to_vec()),
        ("packed", None, packed.into_bytes()),
    ];
    let said: Vec<(String, String)> = page
        .split("type=\"hidden\" name=\"as.")
        .skip(1)
        .map(|rest| {
            let (name, rest) = rest.split_once("\" value=\"").unwrap();
            (format!("as.{name}"), rest.split('"').next().unwrap().replace("&#37;", "%"))
        })
        .collect();
    let mut all: Vec<(&str, Option<&str>, &[u8])> =
        parts.iter().map(|(name, file, value)| (*name, *file, value.as_slice())).collect();
    all.extend(said.iter().map(|(name, value)| (name.as_str(), None, value.as_bytes())));
    house.upload(PATH, &all, cookie).await
}

async fn readings(house: &House) -> Vec<Reading> {
    let all = house.store.readings("hill", Instant::MIN, Instant::MAX).await.unwrap();
    all.into_iter().flat_map(|(_, readings)| readings).collect()
}

/// The figure that stands behind a label.
fn figure(page: &str, label: &str) -> String {
    let rest =
        page.split(&format!("<dt>{label}</dt><dd>")).nth(1).unwrap_or_else(|| panic!("{label}: {page}"));
    rest.split('<').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_file_is_shown_first_and_then_stored_as_it_was_shown() {
    let house = house().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let shown = send(&house, CLEAR.as_bytes(), &[], &ines).await;
    assert_eq!(shown.status, StatusCode::OK, "{}", shown.body);
    whole(&shown);
    let page = &shown.body;
    let counts = [
        "Rows in the file",
        "New readings",
        "Already there, unchanged",
        "Would correct a reading",
        "Refused rows",
        "Rows without a temperature",
    ];
    assert_eq!(counts.map(|label| figure(page, label)), ["5", "3", "0", "0", "1", "1"]);
    for part in [
        "<th scope=\"row\">4</th>",
        "25:00",
        "Note &#60;i&#62;",
        "8.5 °C (47.3 °F)",
        "Wed 1 May 2013, 02:00 EDT",
        "Store this for Logger",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(readings(&house).await.is_empty(), "a look keeps nothing");
    assert_eq!(house.store.source("logger").await.unwrap().unwrap().mapping, None);

    let next = led_to(&store(&house, page, &ines).await);
    let told = house.page(&next, &ines).await;
    assert!(
        told.contains("Stored: 3 new readings; 0 were there already, 0 corrected, 1 rows refused."),
        "{told}"
    );
    assert_eq!(readings(&house).await.iter().map(|one| one.celsius).collect::<Vec<_>>(), [8.5, 9.5, 11.0]);
    // The same again with one changed, pasted this time; a grower may, now that the layout is known.
    let nils = house.person("nils", "alder", Role::Grower).await;
    let other = CLEAR.replace("07:00,9.5", "07:00,9.25");
    let pasted =
        house.upload(PATH, &[("source", None, b"logger"), ("rows", None, other.as_bytes())], &nils).await;
    assert_eq!(counts.map(|label| figure(&pasted.body, label)), ["5", "0", "2", "1", "1", "1"]);
    led_to(&store(&house, &pasted.body, &nils).await);
    assert_eq!(readings(&house).await.iter().map(|one| one.celsius).collect::<Vec<_>>(), [8.5, 9.25, 11.0]);
}

#[tokio::test]
async fn what_does_not_follow_from_the_file_is_asked_for_and_then_holds() {
    let house = house().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let asked = send(&house, UNCLEAR.as_bytes(), &[], &ines).await;
    refused(&asked, &["id=\"as.unit-wrong\"", "The file mast.csv is kept with this form"]);
    assert!(readings(&house).await.is_empty());
    // The file comes back with the form; nobody chooses it again.
    let packed = hidden(&asked.body, "packed").replace("&#43;", "+");
    let said = [("as.unit", "celsius"), ("as.time_format", "%d/%m/%Y %H:%M"), ("as.time_zone", "UTC")];
    let mut parts: Vec<(&str, Option<&str>, &[u8])> = vec![
        ("source", None, b"logger"),
        ("packed", None, packed.as_bytes()),
        ("packed_name", None, b"mast.csv"),
    ];
    parts.extend(said.iter().map(|(name, value)| (*name, None, value.as_bytes())));
    let shown = house.upload(PATH, &parts, &ines).await;
    assert_eq!(shown.status, StatusCode::OK, "{}", shown.body);
    assert_eq!(figure(&shown.body, "New readings"), "3");
    led_to(&store(&house, &shown.body, &ines).await);
    let first = readings(&house).await[0];
    assert_eq!((first.at, first.celsius), (Instant::parse("2013-05-04T10:00:00Z").unwrap(), 11.5));
    let mapping = house.store.source("logger").await.unwrap().unwrap().mapping.unwrap();
    assert_eq!(mapping["time_format"], "%d/%m/%Y %H:%M", "it is remembered");
    // A column that is not there is told at its field.
    let wrong =
        send(&house, UNCLEAR.as_bytes(), &[("as.unit", "celsius"), ("as.temperature_column", "air")], &ines)
            .await;
    refused(&wrong, &["id=\"as.temperature_column-wrong\"", "`air`", "value=\"air\""]);
}

#[tokio::test]
async fn what_is_no_file_of_readings_gets_one_clear_sentence() {
    let house = house().await;
    let ines = house.person("ines", "alder", Role::Advisor).await;
    let large = vec![b' '; (4 << 20) + 1];
    for (file, says) in [
        (
            &b"\xFF\xD8\xFF\xE0\0\x10JFIF"[..],
            "This is a picture (JPEG), no table of readings. Export the readings as CSV",
        ),
        (b"PK\x03\x04\x14\0", "This is a workbook or an archive"),
        (b"", "There is no file and no line"),
        (&large, "It is larger than 4 MB"),
        (b"time,temp\n", "could not be told"),
        (b"\x01\x02\x03\0\x04\0\0\x05", "This is something else than text"),
    ] {
        let answer = send(&house, file, &[], &ines).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{says}: {}", answer.body);
        assert!(answer.body.contains(says), "{says}: {}", answer.body);
    }
    let nowhere = house
        .upload(PATH, &[("source", None, b"mast"), ("file", Some("a.csv"), CLEAR.as_bytes())], &ines)
        .await;
    refused(&nowhere, &["Choose one of the sources of this site."]);
    let broken = house
        .upload(
            PATH,
            &[("source", None, b"logger"), ("packed", None, b"H4sI????"), ("do", None, b"store")],
            &ines,
        )
        .await;
    refused(&broken, &["It did not arrive whole."]);
    assert!(readings(&house).await.is_empty());
}

#[tokio::test]
async fn who_may_not_send_readings_sends_none() {
    let house = house().await;
    let cora = house.person("cora", "alder", Role::Consultant).await;
    assert_eq!(send(&house, CLEAR.as_bytes(), &[], &cora).await.status, StatusCode::FORBIDDEN);
    let nils = house.person("nils", "alder", Role::Grower).await;
    let shown = send(&house, CLEAR.as_bytes(), &[], &nils).await;
    let first = store(&house, &shown.body, &nils).await;
    assert_eq!(first.status, StatusCode::FORBIDDEN);
    assert!(first.body.contains("so an advisor of the farm sends it"), "{}", first.body);
    assert_eq!(
        house.get("/sites/ridge/import", Some(&nils)).await.status,
        StatusCode::FORBIDDEN,
        "the server's own"
    );
    assert!(readings(&house).await.is_empty());
}
