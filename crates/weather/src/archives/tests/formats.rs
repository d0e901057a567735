//! What is each format's own.

use super::*;

/// The slices of a working reader, counted from 0: year 0 to 4, month 5 to 7,
/// day 8 to 10, hour 11 to 13, temperature 13 to 19.
#[test]
fn isd_lite_by_its_columns() {
    let archived = taken(
        Archive::IsdLite,
        "1983-01 01 00    10\n1983 01 01 24    10\n1983 01 01 001    10\n1983 1  1  2     10\n1983 01 01 05   10\n\
         1983 01 01 06-0 123\n1983 01 01 07  1.5x\n1983 01 01 08  -600  -600\n",
    );
    assert_eq!(
        pairs(&archived),
        [("1983-01-01T02:00:00Z".to_owned(), 1.0), ("1983-01-01T08:00:00Z".to_owned(), -60.0),]
    );
    let lines: Vec<u64> = archived.file.refused.iter().map(|refused| refused.line).collect();
    assert_eq!(lines, [1, 2, 3, 5, 6, 7]);
    assert_eq!(archived.file.refused[3].reason, "has 18 columns; expected at least 19");
}

#[test]
fn ghcnh_quality_codes() {
    let row = |minute: usize, code: &str, source: &str| {
        format!("USW00014734|N|2013-04-28T13:{minute:02}:00|||||||||12.8||{code}|FM-15|{source}||\n")
    };
    let cases = [
        ("", "343", Flag::NotEvaluated),
        ("0", "343", Flag::NotEvaluated),
        ("1", "223", Flag::Pass),
        ("5", "343", Flag::Pass),
        ("2", "343", Flag::Suspect),
        ("6", "343", Flag::Suspect),
        ("3", "343", Flag::Fail),
        ("7", "343", Flag::Fail),
        ("C", "313", Flag::Pass),
        ("C", "382", Flag::Suspect),
        ("U", "348", Flag::Suspect),
        ("U", "", Flag::Suspect),
        ("A", "349", Flag::Fail),
        ("S", "343", Flag::Fail),
        ("W", "", Flag::Fail),
        ("35", "343", Flag::Fail),
    ];
    let rows: String =
        cases.iter().enumerate().map(|(minute, (code, source, _))| row(minute, code, source)).collect();
    let archived = taken(Archive::Ghcnh, ghcnh(&rows));
    assert_eq!(archived.file.rows.taken, cases.len() as u64);
    for (reading, (code, source, flag)) in archived.file.readings.iter().zip(cases) {
        assert_eq!(reading.flag, flag, "{code} of {source}");
    }
}

#[test]
fn ghcnh_of_one_moment_the_routine_report_that_did_not_fail() {
    let row = |minute: usize, celsius: f64, code: &str, report: &str| {
        format!("USW00014734|N|2013-04-28T13:{minute:02}:00|||||||||{celsius}||{code}|{report}|343||\n")
    };
    let rows = [
        row(0, 1.0, "5", "FM-15"),
        row(0, 2.0, "5", "FM-16"),
        row(0, 3.0, "5", "FM-12"),
        row(0, 4.0, "5", "AUTO"),
        row(1, 5.0, "3", "FM15"),
        row(1, 6.0, "5", "FM12"),
        row(2, 7.0, "5", "FM-15"),
        row(2, 8.0, "5", "FM-15"),
    ]
    .concat();
    let archived = taken(Archive::Ghcnh, ghcnh(&rows));
    let celsius: Vec<f64> = archived.file.readings.iter().map(|reading| reading.celsius).collect();
    assert_eq!(celsius, [1.0, 6.0, 8.0]);
    assert_eq!(archived.file.rows.superseded, 5);
}

/// The file of a station's whole record has no `DATE`, and names its columns in
/// another way.
#[test]
fn ghcnh_by_station() {
    let text = "Station_ID|Station_name|Year|Month|Day|Hour|Minute|temperature|temperature_Quality_Code\n\
                USW00014734|NEWARK|2013|4|28|13|51|12.8|\n\
                USW00014734|NEWARK|2013|4|31|13|51|12.8|\n\
                USW00014734|NEWARK|2013|4|28|14\n";
    let archived = taken(Archive::Ghcnh, text);
    assert_eq!(pairs(&archived), [("2013-04-28T13:51:00Z".to_owned(), 12.8)]);
    assert_eq!(archived.file.rows.refused, 2);
    assert!(archived.file.refused[1].reason.starts_with("has fewer than 9 fields"));
    assert_eq!(Archive::recognise(text.as_bytes(), None), Some(Archive::Ghcnh));
    // Two years, one file behind the other.
    let twice = taken(Archive::Ghcnh, text.repeat(2));
    assert_eq!((twice.file.rows.taken, twice.file.rows.seen), (1, 6));
}

#[test]
fn several_stations_need_a_choice() {
    let text = "station,valid,tmpc,tmpf\nEWR,2013-04-28 13:51,12.8,0\nJFK,2013-04-28 13:51,9.4,0\nEWR,2013-04-28 14:51,12.2,0\n";
    assert_eq!(
        fault(Archive::IemAsos, text),
        "the file holds several stations: `EWR`, `JFK`; set `station` to the one wanted"
    );
    let archived = taken_with(Archive::IemAsos, text, &station("jfk"));
    assert_eq!(pairs(&archived), [("2013-04-28T13:51:00Z".to_owned(), 9.4)]);
    assert_eq!((archived.file.rows.filtered, archived.station.unwrap().id), (2, "JFK".to_owned()));
    let other = read(Archive::IemAsos, text.as_bytes(), &station("LGA"), now()).unwrap_err();
    assert_eq!(
        other.to_string(),
        "no row is of station `LGA`, which `station` asks for; the file has `EWR`, `JFK`"
    );
    assert_eq!(other.field(), Some("station"));
    let many: String = (0..20).map(|n| format!("S{n:02},2013-04-28 13:51,9.4,0\n")).collect();
    let told = fault(Archive::IemAsos, format!("station,valid,tmpc,tmpf\n{many}"));
    assert!(told.contains("`S09` and more;"), "{told}");
    assert_eq!(taken_with(Archive::DwdHourly, DWD, &station("03987")).file.rows.taken, 2);
    for archive in [Archive::Ghcnh, Archive::DwdHourly, Archive::Tmy3, Archive::Epw] {
        let (_, text) = samples().into_iter().find(|(of, _)| *of == archive).unwrap();
        let fault = read(archive, text.as_bytes(), &station("11111"), now()).unwrap_err();
        assert!(fault.to_string().starts_with("no row is of station `11111`"), "{fault}");
    }
}

#[test]
fn iem_clocks() {
    let text = |zone: &str, times: &[&str]| {
        let rows: String = times.iter().map(|time| format!("EWR,{time},50.00\n")).collect();
        format!("#DEBUG: Time Zone     -> {zone}\nstation,valid,tmpf\n{rows}")
    };
    let times = ["2013-03-10 01:51", "2013-03-10 02:51", "2013-04-28 13:51", "2013-11-03 01:51"];
    let archived = taken(Archive::IemAsos, text("America/New_York", &times));
    assert_eq!(
        pairs(&archived),
        [("2013-03-10T06:51:00Z".to_owned(), 10.0), ("2013-04-28T17:51:00Z".to_owned(), 10.0)]
    );
    let reasons: Vec<&str> = archived.file.refused.iter().map(|refused| refused.reason.as_str()).collect();
    assert_eq!(
        reasons,
        [
            "time `2013-03-10 02:51` does not exist in America/New_York: the clock was put forward over it",
            "time `2013-11-03 01:51` stands twice in America/New_York, where the clock is put back; download the file with tz=UTC",
        ]
    );
    let fixed = Options { clock: Some(WallClock::Fixed(-5 * 3_600)), ..Options::default() };
    let archived = taken_with(Archive::IemAsos, text("America/New_York", &times), &fixed);
    assert_eq!((archived.file.first, archived.file.rows.taken), (Some(at("2013-03-10T06:51:00Z")), 4));
    let unknown = read(Archive::IemAsos, text("Nowhere", &times).as_bytes(), &Options::default(), now());
    assert_eq!(unknown.unwrap_err().field(), Some("time_zone"));
}

#[test]
fn iem_marks_for_missing() {
    let text = "station\tvalid\tlon\ttmpf\nEWR\t2013-04-28 13:51\t-74\tnull\nEWR\t2013-04-28 14:51\t-74\t\nEWR\t2013-04-28 15:51\t-74\tM\nEWR\t2013-04-28 16:51\t-74\twarm\nEWR\t2013-04-28 16:51:00\t-74\t50\n";
    let rows = taken(Archive::IemAsos, text).file.rows;
    assert_eq!(rows, Rows { seen: 5, missing: 3, refused: 2, ..Rows::default() });
}

#[test]
fn dwd_quality_levels() {
    let levels = ["1", "2", "3", "5", "7", "8", "9", "10", "-999", ""];
    let rows: String = levels
        .iter()
        .enumerate()
        .map(|(hour, level)| format!("   44;20130428{hour:02};{level:>5};  12.8;  84.0;eor\n"))
        .collect();
    let archived =
        taken(Archive::DwdHourly, format!("STATIONS_ID;MESS_DATUM;  QN_9;TT_TU;RF_TU;eor\n{rows}"));
    let passed: Vec<bool> = archived.file.readings.iter().map(|reading| reading.flag == Flag::Pass).collect();
    assert_eq!(passed, [false, true, true, false, false, true, true, true, false, false]);
    assert!(archived.file.readings.iter().all(|reading| reading.flag.usable()));
}

/// Latin letters beyond ASCII in a header or a comment do no harm.
#[test]
fn other_encodings_of_names() {
    let mut bytes = b"725020,\"Z\xFCrich\",NJ,-5.0,40.717,-74.183,9\n".to_vec();
    bytes.extend(TMY3.split_once('\n').unwrap().1.bytes());
    assert_eq!(taken(Archive::Tmy3, bytes).station.unwrap().name.unwrap(), "Z\u{FFFD}rich");
}

/// The last hour of a day is the midnight that ends it, also of a year and of
/// 28 February.
#[test]
fn hours_of_typical_years_end() {
    let tmy3 = |rows: &str| format!("{}\n{rows}", TMY3.lines().take(2).collect::<Vec<_>>().join("\n"));
    let rows = "02/28/1996,24:00,0,1.0,A,8\n12/31/1998,24:00,0,2.0,A,8\n01/01/1997,01:00,0,3.0,A,8\n01/01/1997,24:30,0,4.0,A,8\n01/02/1997,00:00,0,5.0,A,8\n1/3/1997,25:00,0,6.0,A,8\n";
    let archived = taken(Archive::Tmy3, tmy3(rows));
    assert_eq!(
        pairs(&archived),
        [
            ("1996-02-29T05:00:00Z".to_owned(), 1.0),
            ("1997-01-01T06:00:00Z".to_owned(), 3.0),
            ("1997-01-02T05:00:00Z".to_owned(), 5.0),
            ("1999-01-01T05:00:00Z".to_owned(), 2.0),
        ]
    );
    assert_eq!(archived.file.rows.refused, 2);
    let one_year = Options { year: Some(2025), ..Options::default() };
    let archived = taken_with(Archive::Tmy3, tmy3(rows), &one_year);
    assert_eq!(archived.file.first, Some(at("2025-01-01T06:00:00Z")));
    assert_eq!(archived.file.last, Some(at("2026-01-01T05:00:00Z")));
    let archived =
        taken_with(Archive::Epw, epw("5.75", "1996,2,29,1,60,x,1.0\n1996,3,1,1,60,x,1.0\n"), &one_year);
    assert_eq!(pairs(&archived), [("2025-02-28T19:15:00Z".to_owned(), 1.0)]);
    assert_eq!(
        archived.file.refused[0].reason,
        "2025-02-29, hour 1, minute 0 is no time; expected hours 1 to 24"
    );
}

#[test]
fn epw_minutes() {
    let rows = "2005,4,28,1,0,x,1\n2005,4,28,2,30,x,2\n2005,4,28,24,60,x,3\n2005,4,28,0,60,x,4\n2005,4,28,3,61,x,4\n";
    let archived = taken(Archive::Epw, epw("0", rows));
    assert_eq!(
        pairs(&archived),
        [
            ("2005-04-28T01:00:00Z".to_owned(), 1.0),
            ("2005-04-28T02:00:00Z".to_owned(), 2.0),
            ("2005-04-29T00:00:00Z".to_owned(), 3.0),
        ]
    );
    let archived = taken(Archive::Epw, epw("0", rows).replace("PERIODS,1,1,", "PERIODS,1,2,"));
    assert_eq!(
        pairs(&archived),
        [("2005-04-28T01:30:00Z".to_owned(), 2.0), ("2005-04-29T00:00:00Z".to_owned(), 3.0)]
    );
}

#[test]
fn typical_years_with_a_wrong_header() {
    for offset in ["", "EST", "-13", "14.5", "nan", "inf"] {
        let told = fault(Archive::Epw, epw(offset, EPW_ROWS));
        assert!(told.starts_with(&format!("line 1: `{offset}` is no offset from UTC")), "{told}");
    }
    assert!(fault(Archive::Epw, "LOCATION,Newark\n").contains("expected LOCATION, with"));
    let endless = format!("{}{}", epw("0", "").replace("DATA PERIODS", "COMMENTS 3"), "x\n".repeat(20));
    assert!(fault(Archive::Epw, endless).contains("DATA PERIODS, within"));
    assert!(fault(Archive::Tmy3, "725020,Newark\n").contains("state and offset"));
    assert!(fault(Archive::Tmy3, "725020,N,NJ,-5\nx\n").contains("Date (MM/DD/YYYY)"));
    assert_eq!(fault(Archive::Epw, epw("0", "")), FileFault::NoRows.to_string());
}
