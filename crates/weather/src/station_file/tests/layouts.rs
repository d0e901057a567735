use super::*;

/// The readings of a file whose rows are two: 1 May 2013 at 02:00 with 3.25 °C
/// and at 03:00 with −4.5 °C, all UTC.
fn reads_both(text: &str, changes: Value) {
    let file = read(text.as_bytes(), &mapping(changes.clone()), now())
        .unwrap_or_else(|fault| panic!("{changes}: {fault}\n{text}"));
    assert_eq!(
        pairs(&file),
        [("2013-05-01T02:00:00Z".to_owned(), 3.25), ("2013-05-01T03:00:00Z".to_owned(), -4.5)],
        "{changes}: {:?}\n{text}",
        file.refused
    );
}

#[test]
fn lines_before_and_after_the_header_are_passed_over() {
    let rows = "2013-05-01 02:00,3.25\n2013-05-01 03:00,-4.5\n";
    for end in ["\n", "\r\n"] {
        let rows = rows.replace('\n', end);
        let text = format!(
            "\"Plot, 4{end}{end}noted \"by\" hand;{end}time,temp{end}{end}TS,deg C{end}\"\",Avg{end}{rows}"
        );
        reads_both(&text, json!({ "skip_lines": 3, "skip_after_header": 2 }));
    }
    let text = format!("Date,Out\nTime,Temp\n{rows}");
    reads_both(
        &text,
        json!({ "header_lines": 2, "time_column": "Date Time", "temperature_column": "Out  Temp" }),
    );
    let numbered = json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#2" });
    reads_both(rows, numbered);
    let numbered =
        json!({ "skip_lines": 1, "header_lines": 0, "time_column": "#1", "temperature_column": "#2" });
    reads_both(&format!("a,b,c,d\n{rows}"), numbered);
    reads_both(&format!("x,x\n{rows}"), json!({ "time_column": "#1", "temperature_column": "#2" }));
    reads_both(&format!("#2,#1\n{rows}"), json!({ "time_column": "#2", "temperature_column": "#1" }));
}

#[test]
fn blanks_and_places_part_columns() {
    let blanks = json!({ "delimiter": "blanks", "date_column": "day", "time_column": "hour", "temperature_column": "t" });
    reads_both(
        "day  hour\tt \n\n  2013-05-01 02:00   3.25\n   \n2013-05-01\t 03:00 -4.5\r\n",
        blanks.clone(),
    );
    reads_both("day hour t\n2013-05-01 02:00 3.25\n2013-05-01 03:00 -4.5", blanks);
    let quoted = json!({ "delimiter": "blanks" });
    reads_both("time temp\n\"2013-05-01 02:00\" 3.25\n\"2013-05-01 03:00\" \"-4.5\"\n", quoted);
    let places = json!({ "columns": [[1, 16], [17, 22], [24, 30]], "temperature_column": "temp°" });
    reads_both("            time temp°éx\n2013-05-01 02:00 3.25 é7\n2013-05-01 03:00-4.5\n", places);
    let touching = json!({
        "columns": [[1, 4], [5, 6], [7, 8], [9, 10], [11, 15]], "header_lines": 0, "time_format": "%Y %m %d %H",
        "date_columns": ["#1", "#2", "#3"], "time_column": "#4", "temperature_column": "#5",
    });
    reads_both("2013050102 3.25\n2013 5 1 3 -4.5\n", touching);
}

#[test]
fn year_month_day_and_hour_apart_with_an_hour_24() {
    let text = "year,month,day,hour,temp\n2013,4,30,24,1.5\n2013,5,1,1,2\n";
    let changes = json!({
        "date_columns": ["year", "month", "day"], "time_column": "hour", "time_format": "%Y %m %d %H",
        "kind": "mean-ending", "interval_minutes": 60,
    });
    assert_eq!(
        pairs(&taken(text, changes)),
        [("2013-05-01T00:00:00Z".to_owned(), 1.5), ("2013-05-01T01:00:00Z".to_owned(), 2.0)]
    );
}

#[test]
fn a_header_with_serial_numbers_is_met_by_its_begin() {
    let text = "#,\"Date Time, GMT-05:00\",\"Temp, °C (LGR S/N: 10, SEN S/N: 11)\",Temp max\n1,2013-04-30 21:00,3.25,9\n2,2013-04-30 22:00,-4.5,9\n";
    for (time, temperature) in [
        ("Date Time", "Temp"),
        ("Date Time, GMT-05:00", "Temp, °C"),
        ("Date Time,  GMT-05:00 ", "Temp, °C (LGR S/N: 10, SEN S/N: 11)"),
    ] {
        let changes =
            json!({ "time_column": time, "temperature_column": temperature, "time_zone": "-05:00" });
        reads_both(text, changes);
    }
    let fault = |changes| read(text.as_bytes(), &mapping(changes), now()).unwrap_err();
    let other = fault(
        json!({ "time_column": "Date Time", "temperature_column": "Temp", "time_zone": "America/New_York" }),
    );
    assert_eq!(other.field(), Some("time_zone"));
    assert!(other.to_string().contains("says -05:00, but `time_zone` is America/New_York"), "{other}");
    let none = fault(json!({ "time_column": "Date", "temperature_column": "Temp", "time_zone": "-05:00" }));
    assert_eq!(none.field(), Some("time_column"));
}

#[test]
fn a_unit_below_the_header_must_be_the_one_expected() {
    let text = "time,temp\nTS,degF\n2013-05-01 02:00,43\n";
    let fault = read(text.as_bytes(), &mapping(json!({ "skip_after_header": 1 })), now()).unwrap_err();
    assert_eq!(fault.field(), Some("unit"));
    assert!(fault.to_string().starts_with("line 2, column `temp`"), "{fault}");
}

#[test]
fn headers_with_blank_ends_do_not_widen_the_rows() {
    reads_both("time,temp,,\n2013-05-01 02:00,3.25\n2013-05-01 03:00,-4.5,,\n", json!({}));
}

#[test]
fn limits_hold_for_each_layout() {
    let fault =
        |text: &str, changes| read(text.as_bytes(), &mapping(changes), now()).unwrap_err().to_string();
    let long = "x".repeat(MAX_LINE_BYTES + 1);
    let blanks = || json!({ "delimiter": "blanks" });
    assert!(fault(&long, blanks()).contains("bytes"));
    assert!(fault(&long, json!({ "columns": [[1, 4], [5, 9]] })).contains("bytes"));
    assert!(fault(&"x ".repeat(MAX_COLUMNS + 1), blanks()).contains("columns"));
    assert!(fault("time,temp\n", json!({ "skip_lines": 2 })).contains("ends before its header"));
    assert!(fault("time,temp\n", json!({ "skip_lines": 1 })).contains("ends before its header"));
    assert!(fault("time,temp\nx,y\n", json!({ "skip_after_header": 1 })).contains("no row"));
    let numbered = json!({ "header_lines": 0, "time_column": "#1", "temperature_column": "#3" });
    assert!(fault("1,2\n", numbered).contains("the header has `#1`, `#2`"));
}
