//! Bad input, one table: each case comes in where it can, is refused with its
//! status at its place in words that name the fault and what was expected, and
//! leaves the database as it was.

use axum::http::Method;
use model::time::Instant;
use serde_json::{Value, json};

use crate::house::{House, SPRING, bench, mapping, ridge, short_file};

struct Case {
    what: &'static str,
    /// Method and path.
    into: (Method, &'static str),
    content_type: &'static str,
    body: Vec<u8>,
    /// Status, and the fault's pointer or parameter.
    refused: (u16, &'static str),
    /// What the fault's sentence says: the wrong thing, and what was expected.
    says: &'static [&'static str],
}

const LOG: &str = "blocks/bench/seasons/2013/log";
const PLAN: &str = "blocks/bench/seasons/2013/plan";
const CONFIRMATIONS: &str = "farms/alder/confirmations";
const HOOKS: &str = "farms/alder/hooks";
const TABLE: &str = "farms/alder/verdict-table";
const UPLOAD: &str = "sites/ridge/readings?source=mast";

fn case(
    what: &'static str,
    into: (Method, &'static str),
    body: Value,
    refused: (u16, &'static str),
    says: &'static [&'static str],
) -> Case {
    Case { what, into, content_type: "application/json", body: body.to_string().into_bytes(), refused, says }
}

fn file(
    what: &'static str,
    body: impl Into<Vec<u8>>,
    pointer: &'static str,
    says: &'static [&'static str],
) -> Case {
    let into = (Method::POST, UPLOAD);
    Case { what, into, content_type: "text/csv", body: body.into(), refused: (422, pointer), says }
}

fn with(mut document: Value, field: &str, value: Value) -> Value {
    document[field] = value;
    document
}

fn site(field: &str, value: Value) -> Value {
    with(with(ridge(), "id", json!("new")), field, value)
}

fn block(field: &str, value: Value) -> Value {
    with(with(bench(), "id", json!("new")), field, value)
}

fn marked(mark: Value) -> Value {
    json!({"sprays": [{"material": "lime-sulfur", "mark": 1.0}, {"material": "lime-sulfur", "mark": mark}]})
}

fn entry(kind: &str, field: &str, value: Value) -> Value {
    with(json!({"id": "e", "kind": kind, "at": "2013-05-01T12:00:00Z"}), field, value)
}

fn confirmation(field: &str, value: Value) -> Value {
    let whole = json!({"material": "captan", "jurisdiction": "New Jersey", "by": "Ines", "on": "2013-04-22",
        "registered": true, "bloom_use": true});
    with(whole, field, value)
}

fn hook(field: &str, value: Value) -> Value {
    with(json!({"name": "Desk", "url": "https://desk.example/"}), field, value)
}

fn table(field: &str, value: Value) -> Value {
    json!({"row": [with(json!({"id": "a", "verdict": "thin", "says": "Thin.", "basis": "constructed"}), field, value)]})
}

fn mixed(field: &str, value: Value) -> Value {
    let whole = json!({"rate": 2.5, "rate_unit": "percent", "rate_basis": "product-by-volume", "volume_per_area": 1000,
        "volume_unit": "L/ha", "area": 2, "area_unit": "ha", "tank": 1000, "tank_unit": "L"});
    with(whole, field, value)
}

fn fitted(field: &str, value: Value) -> Value {
    let whole = json!({"form": "nodes", "unit": "mm-per-hour", "source": "own", "zero_below": 4, "zero_above": 44,
        "observations": [{"celsius": 12, "hours": 24, "length_mm": 2}, {"celsius": 24, "hours": 24, "length_mm": 6},
            {"celsius": 24, "hours": 12, "length_mm": 3.1}]});
    with(whole, field, value)
}

fn cases() -> Vec<Case> {
    let post = |path| (Method::POST, path);
    let patch = |path| (Method::PATCH, path);
    let put = |path| (Method::PUT, path);
    let without_curve = || {
        let mut block = block("cultivar", json!("Winter Glow"));
        block.as_object_mut().unwrap().remove("curve");
        block
    };
    let swapped = with(site("latitude", json!(-74.1687)), "longitude", json!(40.6925));
    let zoned =
        |zone: &str| with(with(mapping(), "time_format", json!("%Y-%m-%d %H:%M")), "time_zone", json!(zone));
    let mut latin = short_file(&["50", "51"]).into_bytes();
    latin.extend(b"EWR,52,2013-05-01T02:00:00Z,S\xfcd\n");
    let utf_16: Vec<u8> = [0xff, 0xfe]
        .into_iter()
        .chain(short_file(&["50"]).encode_utf16().flat_map(u16::to_le_bytes))
        .collect();
    vec![
        case(
            "a hook on this machine",
            post(HOOKS),
            hook("url", json!("http://127.0.0.1/")),
            (422, "/url"),
            &["no public address"],
        ),
        case(
            "an unknown kind of alert",
            post(HOOKS),
            hook("kinds", json!(["due", "late"])),
            (422, "/kinds"),
            &["late", "overrun"],
        ),
        case("no kind of alert", post(HOOKS), hook("kinds", json!([])), (422, "/kinds"), &["empty list"]),
        case(
            "a kind twice",
            post(HOOKS),
            hook("kinds", json!(["due", "due"])),
            (422, "/kinds"),
            &["due", "twice"],
        ),
        case(
            "a hook with a very long address",
            post(HOOKS),
            hook("url", json!(format!("https://desk.example/{}", "a".repeat(2_000)))),
            (422, "/url"),
            &["2000 bytes"],
        ),
        case(
            "unknown zone of a site",
            post("sites"),
            site("time_zone", json!("America/Newark")),
            (422, "/time_zone"),
            &["America/Newark", "IANA"],
        ),
        case(
            "unknown zone of a mapping",
            patch("sites/ridge/sources/mast"),
            json!({"mapping": zoned("Mars/Olympus")}),
            (422, "/mapping/time_zone"),
            &["Mars/Olympus", "IANA"],
        ),
        case(
            "latitude and longitude swapped",
            post("sites"),
            swapped,
            (422, "/longitude"),
            &["-74.1687", "40.6925", "swapped", "America/New_York"],
        ),
        case(
            "latitude past the pole",
            post("sites"),
            site("latitude", json!(91)),
            (422, "/latitude"),
            &["91", "-90 to 90"],
        ),
        case(
            "unknown curve",
            post("blocks"),
            block("curve", json!("refrence")),
            (422, "/curve"),
            &["refrence", "reference, cardinal"],
        ),
        case(
            "unknown curve, changed",
            patch("blocks/bench"),
            json!({"curve": "refrence"}),
            (422, "/curve"),
            &["refrence"],
        ),
        case(
            "cultivar without a curve",
            post("blocks"),
            without_curve(),
            (422, "/curve"),
            &["Winter Glow", "reference, cardinal"],
        ),
        case(
            "mark too small",
            put(PLAN),
            marked(json!(0.049)),
            (422, "/sprays/1/mark"),
            &["0.049", "0.05 to 1.5"],
        ),
        case(
            "mark too large",
            put(PLAN),
            marked(json!(1.51)),
            (422, "/sprays/1/mark"),
            &["1.51", "0.05 to 1.5"],
        ),
        case(
            "mark in words",
            put(PLAN),
            marked(json!("60 %")),
            (422, "/sprays/1/mark"),
            &["60 %", "0.05 to 1.5"],
        ),
        case(
            "style too short",
            post("blocks"),
            block("style_length_mm", json!(0.9)),
            (422, "/style_length_mm"),
            &["0.9", "1 to 30"],
        ),
        case(
            "style too long",
            patch("blocks/bench"),
            json!({"style_length_mm": 30.1}),
            (422, "/style_length_mm"),
            &["30.1", "1 to 30"],
        ),
        case(
            "style too long, logged",
            post(LOG),
            entry("style-length", "lengths_mm", json!([8.8, 88])),
            (422, "/lengths_mm/1"),
            &["88", "1 to 30"],
        ),
        case(
            "negative count",
            post(LOG),
            entry("open-count", "open_per_tree", json!([4, -1])),
            (422, "/open_per_tree/1"),
            &["-1", "0 to"],
        ),
        case(
            "fractional count",
            post(LOG),
            entry("open-count", "open_per_tree", json!([4.5])),
            (422, "/open_per_tree/0"),
            &["4.5", "whole number"],
        ),
        case(
            "fractional buds",
            post(LOG),
            entry("bud-count", "buds_per_tree", json!([0.5])),
            (422, "/buds_per_tree/0"),
            &["whole number"],
        ),
        case(
            "negative target",
            post("blocks"),
            block("target_fruit_per_tree", json!(-1)),
            (422, "/target_fruit_per_tree"),
            &["-1", "0 to"],
        ),
        case(
            "entry ahead",
            post(LOG),
            json!({"id": "e", "kind": "bloom-start", "at": "2013-06-03T12:10:01Z"}),
            (422, "/at"),
            &["2013-06-03T12:10:01Z", "10 minutes ahead", "2013-06-03T12:00:00Z"],
        ),
        case(
            "reading ahead",
            post("sites/ridge/readings"),
            json!({"source": "book", "readings": [{"at": "2013-06-03T12:10:01Z", "celsius": 9}]}),
            (422, "/readings/0/at"),
            &["2013-06-03T12:10:01Z", "10 minutes ahead"],
        ),
        case(
            "time without an offset",
            post(LOG),
            json!({"id": "e", "kind": "bloom-start", "at": "2013-05-01 12:00"}),
            (422, "/at"),
            &["2013-05-01 12:00", "2013-04-28T10:00:00-04:00"],
        ),
        case(
            "confirmation of what is not known",
            post(CONFIRMATIONS),
            confirmation("material", json!("capten")),
            (422, "/material"),
            &["capten", "captan"],
        ),
        case(
            "confirmation ahead",
            post(CONFIRMATIONS),
            confirmation("on", json!("2013-06-05")),
            (422, "/on"),
            &["2013-06-05", "ahead"],
        ),
        case(
            "confirmation on no day",
            post(CONFIRMATIONS),
            confirmation("on", json!("4/22/2013")),
            (422, "/on"),
            &["4/22/2013", "2025-04-28"],
        ),
        case(
            "half a confirmation",
            post(CONFIRMATIONS),
            confirmation("bloom_use", json!(false)),
            (422, "/bloom_use"),
            &["label allows use in bloom"],
        ),
        case(
            "confirmed by two lines",
            post(CONFIRMATIONS),
            confirmation("by", json!("Ines\nand Tom")),
            (422, "/by"),
            &["one line"],
        ),
        case(
            "unknown verdict",
            put(TABLE),
            table("verdict", json!("spray")),
            (422, "/row/0/verdict"),
            &["spray", "thin"],
        ),
        case("table without a row", put(TABLE), json!({"row": []}), (422, "/row"), &["last row"]),
        case(
            "table that ends with a condition",
            put(TABLE),
            table("when", json!([{"figure": "target", "at_most": 0}])),
            (422, "/row"),
            &["last row must hold always"],
        ),
        case(
            "condition with two sides",
            put(TABLE),
            table("when", json!([{"figure": "target", "at_most": 0, "above": 1}])),
            (422, "/row/0/when/0/figure"),
            &["target", "one of at_most"],
        ),
        case(
            "mix of what is not known",
            post("mixing"),
            mixed("material", json!("atz")),
            (422, "/material"),
            &["atz", "ammonium-thiosulfate"],
        ),
        case(
            "a bare gallon",
            post("mixing"),
            mixed("tank_unit", json!("gal")),
            (422, "/tank_unit"),
            &["gal", "US-gal"],
        ),
        case("an area of none", post("mixing"), mixed("area", json!(0)), (422, "/area"), &["0"]),
        case(
            "a rate without its unit",
            post("mixing"),
            mixed("rate_unit", Value::Null),
            (422, "/rate_unit"),
            &["missing", "percent"],
        ),
        case(
            "unknown form of a fit",
            post("curve-fits"),
            fitted("form", json!("spline")),
            (422, "/form"),
            &["spline", "nodes, beta"],
        ),
        case(
            "too few temperatures",
            post("curve-fits"),
            fitted("observations", json!([{"celsius": 12, "hours": 24, "length_mm": 2}])),
            (422, "/observations"),
            &["temperature"],
        ),
        case(
            "a picture of no kind",
            post("curve-fits?picture=yes"),
            fitted("source", json!("own")),
            (422, "picture"),
            &["yes", "true, false"],
        ),
        file("another encoding", latin, "/mapping/encoding", &["line 4", "UTF-8"]),
        file("UTF-16", utf_16, "/mapping/encoding", &["UTF-16LE", "UTF-8"]),
        file(
            "missing column",
            SPRING.replacen(",temp,", ",tmp,", 1),
            "/mapping/temperature_column",
            &["`temp`", "`tmp`"],
        ),
        file(
            "more than half outside −60 to 60 °C",
            short_file(&["283.1", "284.2", "50"]),
            "/mapping/unit",
            &["2 of 3", "−60 to 60 °C", "fahrenheit", "kelvin"],
        ),
        file("no row of the station", SPRING.replace("EWR", "LGA"), "/mapping/where", &["EWR", "LGA"]),
        file("no rows", "origin,temp,time_hour\n", "", &["no row"]),
        file("nothing", "", "", &["empty"]),
    ]
}

/// All that the cases could write into.
async fn everything(house: &House) -> String {
    let store = &house.store;
    format!(
        "{:?}",
        (
            store.sites(None, None, 100).await.unwrap(),
            store.sources_of("ridge").await.unwrap(),
            store.readings("ridge", Instant::MIN, Instant::MAX).await.unwrap(),
            store.blocks(None, None, 100).await.unwrap(),
            store.seasons_of("bench").await.unwrap(),
            store.plan("bench", 2013).await.unwrap(),
            store.log("bench", 2013).await.unwrap(),
            store.confirmations("alder").await.unwrap(),
            store.farm_rule("alder", model::plan::VERDICT_TABLE).await.unwrap(),
        )
    )
}

#[tokio::test]
async fn each_is_refused_at_its_place_and_nothing_is_written() {
    let house = House::planted().await;
    let before = everything(&house).await;
    for Case { what, into: (method, path), content_type, body, refused: (status, place), says } in cases() {
        let answer = house.send(house.request(method, path, Some(content_type), body)).await;
        assert_eq!(answer.status.as_u16(), status, "{what}: {}", answer.body);
        let said = answer.fault(status, place);
        for word in says {
            assert!(said.contains(word), "{what}: no `{word}` in: {said}");
        }
        assert_eq!(everything(&house).await, before, "{what}: nothing half written");
        assert_eq!(house.pokes(), 0, "{what}");
    }
}

/// A unit that only the header tells.
#[tokio::test]
async fn a_header_with_another_unit_refuses_the_file() {
    let house = House::planted().await;
    let mapping = with(mapping(), "temperature_column", json!("temp (K)"));
    house.patch("sites/ridge/sources/mast", json!({"mapping": mapping})).await.expect(200);
    let before = everything(&house).await;
    let said =
        house.upload("mast", SPRING.replacen(",temp,", ",temp (K),", 1)).await.fault(422, "/mapping/unit");
    assert!(said.contains("kelvin") && said.contains("fahrenheit"), "{said}");
    assert_eq!(everything(&house).await, before);
}

/// Half of the rows outside is not more than half.
#[tokio::test]
async fn half_of_a_file_may_be_wrong() {
    let house = House::planted().await;
    let answer = house.upload("mast", short_file(&["283.1", "50", "284.2", "51"])).await.expect(200);
    assert_eq!((&answer["stored"], &answer["refused"]), (&json!(2), &json!(2)));
}

/// A style outside 5 to 15 mm is taken; the season notes it.
#[tokio::test]
async fn an_unusual_style_is_taken() {
    let house = House::planted().await;
    house.patch("blocks/bench", json!({"style_length_mm": 16})).await.expect(200);
    house.patch("blocks/bench", json!({"style_length_mm": 1})).await.expect(200);
    house.patch("blocks/bench", json!({"style_length_mm": 30})).await.expect(200);
}
