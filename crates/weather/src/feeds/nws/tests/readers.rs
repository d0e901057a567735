//! Bodies, read without a server between.

use model::air::Air;
use model::series::{Flag, Reading};
use proptest::prelude::*;

use super::super::place::nearest_stations;
use super::super::quantity;
use super::*;

fn read_grid(layers: Value) -> Result<Foretold, Cause> {
    grid::read(bodies::grid(layers).to_string().as_bytes(), &cell(), now())
}

fn read_observations(body: &Value) -> Result<Observed, Cause> {
    observations::read(body.to_string().as_bytes(), &station("KNEA"), &cell(), start(), now())
}

fn start() -> Instant {
    at("2026-04-28T12:00:00Z")
}

fn hours(foretold: &Foretold) -> Vec<(String, f64)> {
    foretold.hours.iter().map(|hour| (hour.at.to_string(), hour.celsius)).collect()
}

fn stretch(valid: &str, value: Value) -> Value {
    json!({ "validTime": valid, "value": value })
}

#[test]
fn merged_intervals_are_spread_over_their_hours() {
    let layer = temperature(json!([
        stretch("2026-05-01T10:00:00+00:00/PT4H", json!(7.222_222_222_222_222)),
        stretch("2026-05-01T14:00:00+0000/PT1H", json!(6)),
        stretch("2026-05-01T15:00:00Z/P1DT2H", json!(null)),
        stretch("2026-05-02T17:00:00+00:00/PT2H", json!(-1.5)),
        // The first that tells of an hour holds.
        stretch("2026-05-02T18:00:00+00:00/PT2H", json!(4.0)),
    ]));
    let foretold = read_grid(json!({ "temperature": layer })).unwrap();
    let expected = [
        ("2026-05-01T13:00:00Z", 7.222_222_222_222_222),
        ("2026-05-01T14:00:00Z", 6.0),
        ("2026-05-02T17:00:00Z", -1.5),
        ("2026-05-02T18:00:00Z", -1.5),
        ("2026-05-02T19:00:00Z", 4.0),
    ];
    assert_eq!(hours(&foretold), expected.map(|(at, value)| (at.to_owned(), value)));
    assert_eq!(foretold.issued_at, at("2026-05-01T11:12:33Z"));
}

#[test]
fn hours_of_other_years_and_unreadable_intervals_are_left_out() {
    let layer = temperature(json!([
        stretch("2000-05-01T13:00:00+00:00/PT3H", json!(1.0)),
        stretch("2999-05-01T13:00:00+00:00/PT3H", json!(2.0)),
        stretch("2027-05-01T13:00:00+00:00/PT3H", json!(3.0)),
        stretch("2026-05-01T13:00:00+00:00/P99999Y", json!(4.0)),
        stretch("soon", json!(5.0)),
        stretch("2026-05-01T12:20:00Z/PT2H", json!(6.0)),
        stretch("2026-05-16T12:00:00+00:00/P20D", json!(7.0)),
    ]));
    let foretold = read_grid(json!({ "temperature": layer })).unwrap();
    let expected = [("2026-05-01T13:00:00Z", 6.0)].into_iter().map(|(at, value)| (at.to_owned(), value));
    let last_day = (0..25).map(|n| (at("2026-05-16T12:00:00Z").plus(n * HOUR).to_string(), 7.0));
    assert_eq!(hours(&foretold), expected.chain(last_day).collect::<Vec<_>>(), "16 days and no more");
}

/// New York, 1 November 2026: 01:00 comes twice, six hours are seven.
#[test]
fn a_change_of_the_clock_is_seen_by_the_offset() {
    let at_dawn = at("2026-11-01T02:00:00Z");
    let merged = "2026-11-01T00:00:00-04:00/2026-11-01T06:00:00-05:00";
    let body = bodies::grid(json!({ "temperature": temperature(json!([stretch(merged, json!(3.0))])) }));
    let foretold = grid::read(body.to_string().as_bytes(), &cell(), at_dawn).unwrap();
    let ats: Vec<_> = foretold.hours.iter().map(|hour| hour.at.since(at("2026-11-01T04:00:00Z"))).collect();
    assert_eq!(ats, [0, 1, 2, 3, 4, 5, 6].map(|n| n * HOUR));

    let mut body = hourly(json!(40), Some("F"));
    let period = body["properties"]["periods"][0].clone();
    let starting = |text: &str| {
        let mut period = period.clone();
        period["startTime"] = json!(text);
        period
    };
    body["properties"]["periods"] =
        json!([starting("2026-11-01T01:00:00-04:00"), starting("2026-11-01T01:00:00-05:00")]);
    let foretold = hourly::read(body.to_string().as_bytes(), &cell(), at_dawn).unwrap();
    let ats: Vec<_> = foretold.hours.iter().map(|hour| hour.at.to_string()).collect();
    assert_eq!(ats, ["2026-11-01T05:00:00Z", "2026-11-01T06:00:00Z"]);
}

#[test]
fn units_are_known_by_their_ends() {
    let one = |uom: Value, value: f64| {
        let values = json!([stretch("2026-05-01T13:00:00Z/PT1H", json!(value))]);
        read_grid(json!({ "temperature": { "uom": uom, "values": values } }))
    };
    for (unit, value) in [("wmoUnit:degC", 5.0), ("unit:degC", 5.0), ("degC", 5.0), ("wmoUnit:degF", 41.0)] {
        assert_eq!(one(json!(unit), value).unwrap().hours[0].celsius, 5.0, "{unit}");
    }
    for unit in [json!("wmoUnit:degree_(angle)"), json!(""), json!(null)] {
        let cause = one(unit.clone(), 5.0).unwrap_err();
        assert!(cause.to_string().contains("layer temperature is in the unit"), "{unit}: {cause}");
    }
    assert_eq!(quantity::metres_per_second("wmoUnit:km_h-1", 36.0), Some(10.0));
    assert_eq!(quantity::metres_per_second("unit:m_s-1", 10.0), Some(10.0));
    assert_eq!(quantity::metres_per_second("wmoUnit:degC", 10.0), None);
    assert_eq!(quantity::millimetres("wmoUnit:m", 0.0025), Some(2.5));
}

#[test]
fn grids_that_do_not_fit_give_nothing() {
    let good = bodies::grid(json!({ "temperature": temperature(json!([
        stretch("2026-05-01T13:00:00Z/PT1H", json!(5.5))
    ])) }))
    .to_string();
    let many = vec![stretch("2026-05-01T13:00:00Z/PT1H", json!(5.5)); 1_001];
    let many = bodies::grid(json!({ "temperature": temperature(json!(many)) })).to_string();
    let cases = [
        (good[..good.len() / 2].to_owned(), "not the JSON"),
        (good.replace("5.5", "NaN"), "not the JSON"),
        (good.replace("5.5", "1e999"), "not the JSON"),
        (good.replace("5.5", "\"NaN\""), "does not fit"),
        (good.replace("5.5", "1e308"), "outside -60 to 60"),
        (good.replace("5.5", "4999.9"), "outside -60 to 60"),
        (good.replace("5.5", "[]"), "does not fit"),
        (good.replace("\"value\":5.5", "\"value\":5.5,\"value\":9.5"), "duplicate"),
        (good.replace("\"temperature\":", "\"temperature\":null,\"temperature\":"), "duplicate"),
        (good.replace("\"validTime\":\"2026", "\"when\":\"2026"), "does not fit"),
        (many, "1001 intervals"),
        ("{\"properties\":[]}".to_owned(), "does not fit"),
    ];
    for (text, expected) in cases {
        let cause = grid::read(text.as_bytes(), &cell(), now()).unwrap_err();
        assert!(cause.to_string().contains(expected), "{text:.80}: {cause}");
    }
    assert!(grid::read(good.as_bytes(), &cell(), now()).is_ok());
    assert!(read_grid(json!({})).unwrap().hours.is_empty(), "no layer of temperature is no fault");
}

#[test]
fn the_issue_is_told_by_the_provider_unless_it_lies_ahead() {
    let issued = |text: Value| {
        let mut body = bodies::grid(json!({}));
        body["properties"]["updateTime"] = text;
        grid::read(body.to_string().as_bytes(), &cell(), now()).unwrap().issued_at
    };
    assert_eq!(issued(json!("2026-05-01T04:12:33+0000")), at("2026-05-01T04:12:33Z"));
    for text in
        [json!("2026-05-01T12:20:01Z"), json!("2999-01-01T00:00:00Z"), json!("lately"), json!(null), json!(7)]
    {
        assert_eq!(issued(text.clone()), now(), "{text}");
    }
}

#[test]
fn the_air_ahead_comes_with_its_hours_and_rain_is_spread_evenly() {
    let layer = |uom: &str, values: Value| json!({ "uom": uom, "values": values });
    let foretold = read_grid(json!({
        "windSpeed": layer("wmoUnit:km_h-1", json!([stretch("2026-05-01T13:00:00Z/PT2H", json!(18.0))])),
        "windGust": layer("wmoUnit:km_h-1", json!([stretch("2026-05-01T12:00:00Z/PT1H", json!(36.0))])),
        "relativeHumidity": layer("wmoUnit:percent", json!([stretch("2026-05-01T13:00:00Z/PT1H", json!(80))])),
        "dewpoint": layer("wmoUnit:degF", json!([stretch("2026-05-01T13:00:00Z/PT1H", json!(41))])),
        "quantitativePrecipitation": layer("wmoUnit:mm", json!([stretch("2026-05-01T10:00:00Z/PT4H", json!(6.0))])),
    }))
    .unwrap();
    let expected = [
        Air {
            wind_m_s: Some(5.0),
            gust_m_s: Some(10.0),
            rain_mm: Some(1.5),
            humidity_percent: Some(80.0),
            dew_point_c: Some(5.0),
            ..Air::at(at("2026-05-01T13:00:00Z"))
        },
        Air { wind_m_s: Some(5.0), rain_mm: Some(1.5), ..Air::at(at("2026-05-01T14:00:00Z")) },
    ];
    assert_eq!(foretold.air, expected, "rain of four hours, of which two end ahead");

    // What no air has, or in no known unit, is left out and harms nothing.
    let hour = |value: Value| json!([stretch("2026-05-01T13:00:00Z/PT1H", value)]);
    let foretold = read_grid(json!({
        "temperature": temperature(hour(json!(4.0))),
        "windSpeed": layer("wmoUnit:km_h-1", hour(json!(1e308))),
        "windGust": layer("furlong", hour(json!(5.0))),
        "relativeHumidity": "dry",
        "dewpoint": layer("wmoUnit:degC", hour(json!("NaN"))),
        "quantitativePrecipitation": layer("wmoUnit:mm", hour(json!(null))),
    }))
    .unwrap();
    assert_eq!((foretold.hours.len(), foretold.air), (1, vec![]));
}

#[test]
fn the_hourly_forecast_is_read_in_both_its_forms() {
    let first = |temperature: Value, unit: Option<&str>| {
        hourly::read(hourly(temperature, unit).to_string().as_bytes(), &cell(), now())
    };
    let forms = [
        (json!(50), Some("F")),
        (json!(10), Some("C")),
        (json!({ "unitCode": "wmoUnit:degC", "value": 10.0 }), None),
        (json!({ "unitCode": "wmoUnit:degF", "value": 50 }), Some("C")),
    ];
    for (temperature, unit) in forms {
        let foretold = first(temperature.clone(), unit).unwrap();
        assert_eq!(foretold.hours, [Reading::instant(at("2026-05-01T13:00:00Z"), 10.0)], "{temperature}");
    }
    for absent in [json!(null), json!({ "unitCode": "wmoUnit:degC", "value": null })] {
        assert!(first(absent, Some("F")).unwrap().hours.is_empty());
    }
    let cases = [
        (json!(50), None, "unit"),
        (json!(50), Some("X"), "unit `X`"),
        (json!("50"), Some("F"), "does not fit"),
        (json!(1e308), Some("F"), "outside -60 to 60"),
        (json!(149), Some("F"), "outside -60 to 60"),
    ];
    for (temperature, unit, expected) in cases {
        let cause = first(temperature.clone(), unit).unwrap_err();
        assert!(cause.to_string().contains(expected), "{temperature}: {cause}");
    }
}

#[test]
fn letters_of_the_check_become_flags() {
    let letters = [
        ("V", Flag::Pass),
        ("S", Flag::Pass),
        ("C", Flag::Pass),
        ("G", Flag::Pass),
        ("T", Flag::Pass),
        ("Z", Flag::NotEvaluated),
        ("?", Flag::NotEvaluated),
        ("Q", Flag::Suspect),
        ("X", Flag::Fail),
        ("B", Flag::Fail),
    ];
    for (letter, flag) in letters {
        let body = observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(32), letter)]);
        let observed = read_observations(&body).unwrap();
        let expected = Reading { flag, ..Reading::instant(at("2026-05-01T11:51:00Z"), 32.0) };
        assert_eq!(observed.readings.into_values().collect::<Vec<_>>(), [expected], "{letter}");
    }
    for absent in [json!({}), json!({ "qualityControl": null })] {
        let mut quantity = json!({ "unitCode": "unit:degC", "value": 3.0 });
        quantity.as_object_mut().unwrap().extend(absent.as_object().unwrap().clone());
        let one = observation("KNEA", "2026-05-01T11:51:00Z", json!({ "temperature": quantity }));
        let observed = read_observations(&json!({ "features": [one] })).unwrap();
        assert_eq!(observed.readings.into_values().next().unwrap().flag, Flag::NotEvaluated);
    }
}

#[test]
fn observations_of_the_window_are_kept_and_the_better_of_two_at_one_time() {
    let body = observations(
        "KNEA",
        &[
            ("2026-05-01T12:20:00+00:00", json!(9.0), "V"),
            ("2026-05-01T12:20:01+00:00", json!(99.0), "V"),
            ("2999-05-01T12:00:00+00:00", json!(1.0), "V"),
            ("2027-05-01T12:00:00+00:00", json!(1.0), "V"),
            ("2026-05-01T11:51:00+00:00", json!(8.0), "Z"),
            ("2026-05-01T11:51:00+00:00", json!(8.5), "V"),
            ("2026-05-01T11:51:00+00:00", json!(7.0), "X"),
            ("2026-05-01T10:51:00+00:00", json!(null), "Z"),
            ("2026-05-01T09:51:00+00:00", json!(1e308), "V"),
            ("2026-05-01T08:51:00-04:00", json!(-60.5), "V"),
            ("2026-04-28T12:00:00+00:00", json!(4.0), "V"),
            ("2026-04-28T11:59:59+00:00", json!(3.0), "V"),
            ("2000-05-01T12:00:00+00:00", json!(2.0), "V"),
        ],
    );
    let observed = read_observations(&body).unwrap();
    let readings: Vec<_> = observed.readings.values().map(|r| (r.at.to_string(), r.celsius)).collect();
    let expected =
        [("2026-04-28T12:00:00Z", 4.0), ("2026-05-01T11:51:00Z", 8.5), ("2026-05-01T12:20:00Z", 9.0)];
    assert_eq!(readings, expected.map(|(at, value)| (at.to_owned(), value)));
    assert_eq!((observed.records, observed.oldest), (12, at("2000-05-01T12:00:00Z")));
}

#[test]
fn observations_that_do_not_fit_give_nothing() {
    let good = observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(8.5), "V")]).to_string();
    let cases = [
        (good.replace("/stations/KNEA\"", "/stations/KFAR\""), "expected those of KNEA"),
        (good.replace("/stations/KNEA\"", "/stations/XKNEA\""), "expected those of KNEA"),
        (good[..good.len() - 3].to_owned(), "not the JSON"),
        (good.replace("8.5", "NaN"), "not the JSON"),
        (good.replace("8.5", "\"NaN\""), "does not fit"),
        (good.replace("wmoUnit:degC", "wmoUnit:Pa"), "unit `wmoUnit:Pa`"),
        (good.replace("2026-05-01T11:51:00+00:00\",\"raw", "yesterday\",\"raw"), "`yesterday`"),
        (good.replace("\"value\":8.5", "\"value\":8.5,\"value\":9.5"), "duplicate"),
        (good.replace("\"timestamp\"", "\"timestamp\":\"2026-05-01T10:51:00Z\",\"timestamp\""), "duplicate"),
        ("{\"features\":null}".to_owned(), "does not fit"),
    ];
    for (text, expected) in cases {
        let cause =
            observations::read(text.as_bytes(), &station("KNEA"), &cell(), start(), now()).unwrap_err();
        assert!(cause.to_string().contains(expected), "{text:.80}: {cause}");
    }
    assert!(observations::read(good.as_bytes(), &station("KNEA"), &cell(), start(), now()).is_ok());
}

#[test]
fn the_air_observed_is_without_what_is_known_to_be_wrong() {
    let value = |unit: &str, value: Value, letter: &str| json!({ "unitCode": unit, "value": value, "qualityControl": letter });
    let one = observation(
        "KNEA",
        "2026-05-01T11:51:00Z",
        json!({
            "temperature": value("wmoUnit:degC", json!(null), "Z"),
            "windSpeed": value("wmoUnit:km_h-1", json!(18), "V"),
            "windGust": value("wmoUnit:km_h-1", json!(36), "X"),
            "relativeHumidity": value("wmoUnit:percent", json!(52.8), "V"),
            "dewpoint": value("wmoUnit:degC", json!(1e308), "V"),
            "precipitationLastHour": value("wmoUnit:m", json!(0.0025), "C"),
        }),
    );
    let nothing = observation("KNEA", "2026-05-01T10:51:00Z", json!({ "windSpeed": "calm" }));
    let observed = read_observations(&json!({ "features": [one, nothing] })).unwrap();
    let expected = [
        Air { wind_m_s: Some(5.0), humidity_percent: Some(52.8), ..Air::at(at("2026-05-01T11:51:00Z")) },
        Air { rain_mm: Some(2.5), ..Air::at(at("2026-05-01T12:00:00Z")) },
    ];
    assert_eq!(observed.whole_air(), expected);
    assert!(observed.readings.is_empty());
}

#[test]
fn rain_told_by_several_reports_of_an_hour_is_counted_once() {
    let told = [
        // Since 8:53, and since 9:53 in ever longer stretches.
        ("2026-05-01T09:53:00Z", 2.0),
        ("2026-05-01T10:10:00Z", 0.5),
        ("2026-05-01T10:25:00Z", 1.5),
        ("2026-05-01T10:53:00Z", 4.0),
        ("2026-05-01T10:57:00Z", 0.25),
        ("2026-05-01T11:00:00Z", 0.25),
        ("2026-05-01T11:53:00Z", 1.0),
        // The hour is not over.
        ("2026-05-01T12:10:00Z", 8.0),
        // That of an hour of which only the end was asked for.
        ("2026-04-28T12:00:00Z", 8.0),
    ];
    let one = |(at, rain): &(&str, f64)| {
        let quantity = json!({ "unitCode": "wmoUnit:mm", "value": rain, "qualityControl": "V" });
        observation("KNEA", at, json!({ "precipitationLastHour": quantity }))
    };
    let whole = |told: &[(&str, f64)], whole_from: &str| {
        let features: Vec<Value> = told.iter().map(one).collect();
        let mut observed = read_observations(&json!({ "features": features })).unwrap();
        observed.only_whole_hours(at(whole_from), now());
        let air = observed.whole_air();
        air.iter().map(|air| (air.at.to_string(), air.rain_mm.unwrap())).collect::<Vec<_>>()
    };
    let hours = [("2026-05-01T10:00:00Z", 2.0), ("2026-05-01T11:00:00Z", 4.0), ("2026-05-01T12:00:00Z", 1.0)];
    let expected = hours.map(|(at, rain)| (at.to_owned(), rain));
    assert_eq!(whole(&told, "2026-04-28T12:00:00Z"), expected);
    let turned: Vec<_> = told.iter().rev().copied().collect();
    assert_eq!(whole(&turned, "2026-04-28T12:00:00Z"), expected, "in whatever order");
    // A full answer that begins in the midst of an hour.
    assert_eq!(whole(&told, "2026-05-01T09:53:00Z"), expected[1..]);

    let mut observed = read_observations(&json!({ "features": [one(&told[3])] })).unwrap();
    observed.add(read_observations(&json!({ "features": [one(&told[2])] })).unwrap());
    assert_eq!(observed.rain.into_values().collect::<Vec<_>>(), [4.0], "parted over two answers");
}

/// 100 m higher is 0.65 K colder.
#[test]
fn temperatures_are_corrected_to_the_height_asked_for() {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
    let asked = CellRequest { elevation_m: Some(203.0), ..cell() };
    let body = observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(8.0), "V")]).to_string();
    let observed = observations::read(body.as_bytes(), &station("KNEA"), &asked, start(), now()).unwrap();
    assert!(near(observed.readings.into_values().next().unwrap().celsius, 6.7), "from 3 m");
    // What the observation does not tell, the list of stations does.
    let silent = body.replace("\"value\":3.0", "\"value\":null");
    for (listed, expected) in [(Some(103.0), 7.35), (None, 8.0)] {
        let station = Station { elevation_m: listed, ..station("KNEA") };
        let observed = observations::read(silent.as_bytes(), &station, &asked, start(), now()).unwrap();
        assert!(near(observed.readings.into_values().next().unwrap().celsius, expected), "{listed:?}");
    }
    let hour = temperature(json!([stretch("2026-05-01T13:00:00Z/PT1H", json!(8.0))]));
    let body = bodies::grid(json!({ "temperature": hour })).to_string();
    let at_100 = |body: &str| grid::read(body.as_bytes(), &asked, now()).unwrap().hours[0].celsius;
    assert!(near(at_100(&body), 8.0 - 1.03 * 0.65), "from 100 m");
    for height in ["null", "1e308", "\"high\"", "-9999.0"] {
        assert_eq!(at_100(&body.replace("\"value\":100.0", &format!("\"value\":{height}"))), 8.0, "{height}");
    }
}

#[test]
fn stations_are_taken_by_their_distance_and_those_of_no_place_last() {
    let mut list = stations();
    let nearest = |list: &Value, most| {
        let stations = nearest_stations(list.to_string().as_bytes(), &cell(), most).unwrap();
        stations.into_iter().map(|station| (station.id, station.elevation_m)).collect::<Vec<_>>()
    };
    let named = |ids: &[&str], height| ids.iter().map(|id| ((*id).to_owned(), height)).collect::<Vec<_>>();
    assert_eq!(nearest(&list, 9), named(&["KNEA", "KMID", "KFAR", "KOUT"], Some(3.0)));
    list["features"][1]["geometry"] = json!(null);
    list["features"][2]["geometry"]["coordinates"] = json!(["west"]);
    list["features"][3]["properties"]["stationIdentifier"] = json!("../OUT");
    list["features"][0]["properties"]["elevation"] = json!("high");
    assert_eq!(nearest(&list, 1), named(&["KFAR"], None));
    assert_eq!(nearest(&list, 2)[1], ("KNEA".to_owned(), Some(3.0)));
}

#[test]
fn places_are_asked_for_with_at_most_four_decimals_and_no_zeros_at_the_end() {
    let path = |latitude, longitude| place::point_path(&CellRequest { latitude, longitude, ..cell() });
    assert_eq!(path(39.745_67, -97.089_21), "/points/39.7457,-97.0892");
    assert_eq!(path(40.0, -100.5), "/points/40,-100.5");
    assert_eq!(path(-0.000_01, 10.0), "/points/0,10");
}

/// Whole bodies with a stretch of them put out by other bytes.
fn damaged() -> impl Strategy<Value = Vec<u8>> {
    let layer = temperature(json!([stretch("2026-05-01T13:00:00+00:00/P2DT3H", json!(5.5))]));
    let whole = vec![
        bodies::grid(json!({ "temperature": layer.clone(), "dewpoint": layer })).to_string(),
        hourly(json!(50), Some("F")).to_string(),
        observations("KNEA", &[("2026-05-01T11:51:00+00:00", json!(8.5), "V")]).to_string(),
        stations().to_string(),
        point("OKX", 33, 35).to_string(),
    ];
    let patch = prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..6),
        "[0-9eE+.-]{1,9}".prop_map(String::into_bytes),
        "(null|\\[\\]|\\{\\}|NaN|,|:|\")".prop_map(String::into_bytes),
    ];
    (proptest::sample::select(whole), any::<prop::sample::Index>(), 0_usize..12, patch).prop_map(
        |(whole, place, length, patch)| {
            let mut bytes = whole.into_bytes();
            let from = place.index(bytes.len());
            let to = (from + length).min(bytes.len());
            bytes.splice(from..to, patch);
            bytes
        },
    )
}

/// Reads the bytes as everything they could be; what is read keeps its bounds.
fn read_as_all(bytes: &[u8]) {
    let cell = CellRequest { elevation_m: Some(50.0), ..cell() };
    let most = (MOST_AHEAD / HOUR) as usize;
    for foretold in [grid::read(bytes, &cell, now()), hourly::read(bytes, &cell, now())].into_iter().flatten()
    {
        assert!(foretold.hours.len() <= most.max(1_000) && foretold.air.len() <= most);
        assert!(
            foretold.hours.iter().all(|hour| grid::is_ahead(hour.at, now()) && hour.celsius.abs() < 125.0)
        );
        assert!(foretold.issued_at <= now());
    }
    if let Ok(observed) = observations::read(bytes, &station("KNEA"), &cell, start(), now()) {
        assert!(observed.readings.keys().all(|at| (start()..=now()).contains(at)));
        assert!(observed.readings.values().all(|reading| reading.celsius.abs() < 125.0));
        assert!(observed.readings.len() <= observed.records && observed.air.len() <= observed.records);
    }
    let _ = place::point(bytes);
    if let Ok(stations) = nearest_stations(bytes, &cell, 3) {
        assert!(stations.len() <= 3 && stations.iter().all(|station| station.id.len() <= 32));
    }
    let _ = answer::Refusal::read(bytes);
    let _ = Memory::read(&String::from_utf8_lossy(bytes));
}

proptest! {
    #[test]
    fn no_bytes_break_a_reader(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        read_as_all(&bytes);
    }

    #[test]
    fn no_damage_breaks_a_reader(bytes in damaged()) {
        read_as_all(&bytes);
    }
}
