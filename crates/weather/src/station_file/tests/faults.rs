use super::*;

#[test]
fn wrong_rows_are_refused_with_line_and_reason() {
    let table = [
        ("2013-05-01,3", "time `2013-05-01` does not read as `%Y-%m-%d %H:%M`"),
        ("2013-02-30 01:00,3", "2013-02-30"),
        (",3", "time ``"),
        ("2013-05-01 01:00,warm", "`warm` is not a number"),
        ("2013-05-01 01:00,\"3,5\"", "like 11.5"),
        ("2013-05-01 01:00,60.1", "outside -60 to 60"),
        ("2013-05-01 01:00,-60.1", "outside -60 to 60"),
        ("2013-05-01 01:00,NaN1", "not a number"),
        ("2014-01-01 00:11,3", "future"),
        ("1899-12-31 00:00,3", "1900"),
        ("2013-05-01 01:00", "has 1 fields; expected 2"),
        ("2013-05-01 01:00,3,4", "has 3 fields; expected 2"),
    ];
    for (row, expected) in table {
        let file = taken(format!("time,temp\n2013-04-30 23:00,1\n{row}\n2013-04-30 23:30,2\n"), json!({}));
        assert_eq!((file.rows.taken, file.rows.refused), (2, 1), "{row}");
        assert_eq!(file.refused[0].line, 3, "{row}");
        assert!(file.refused[0].reason.contains(expected), "{row}: {}", file.refused[0].reason);
    }
    let edge = taken("time,temp\n2014-01-01 00:10,3\n2013-05-01 01:00,60\n2013-05-01 02:00,-60\n", json!({}));
    assert_eq!(edge.rows.taken, 3, "the limits themselves are taken");
}

#[test]
fn refused_rows_are_kept_to_a_limit_and_all_counted() {
    let text = format!("time,temp\n{}", "2013-05-01 01:00,x\n".repeat(MAX_REFUSED_KEPT + 5));
    let file = taken(text, json!({}));
    assert_eq!(file.refused.len(), MAX_REFUSED_KEPT);
    assert_eq!(file.rows.refused, MAX_REFUSED_KEPT as u64 + 5);
}

const ROW: &str = "2013-05-01 01:00,5\n";

/// Bytes, changes of the mapping, the key that the fault speaks of, and parts
/// of its text.
type FaultCase = (Vec<u8>, Value, Option<&'static str>, &'static [&'static str]);

#[test]
fn a_faulty_file_names_the_place_and_what_was_expected() {
    let good = format!("time,temp\n{ROW}");
    let warm = |value: f64| {
        format!("time,temp\n2013-05-01 01:00,{value}\n2013-05-01 02:00,{value}\n2013-05-01 03:00,5\n")
    };
    let utf16: Vec<u8> = good.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let eleven: String = (0..11).map(|n| format!("S{n},2013-05-01 01:00,5\n")).collect();
    let table: Vec<FaultCase> = vec![
        (b"".into(), json!({}), None, &["empty"]),
        (b"\n\r\n".into(), json!({}), None, &["empty"]),
        (b"\xEF\xBB\xBF".into(), json!({}), None, &["empty"]),
        (b"time,temp\n".into(), json!({}), None, &["no row"]),
        (
            b"time,temp\n2013-05-01 01:00,5\nA \xB0C,\n".into(),
            json!({}),
            Some("encoding"),
            &["line 3", "byte 31", "UTF-8"],
        ),
        (b"time,temp\n2013-05-01 01:00,5\xC2".into(), json!({}), Some("encoding"), &["line 2", "byte 28"]),
        (b"time,temp\n2013\0".into(), json!({}), Some("encoding"), &["line 2", "zero"]),
        (utf16.clone(), json!({}), Some("encoding"), &["line 1", "utf-16le"]),
        (
            [b"\xFF\xFE".to_vec(), utf16.clone()].concat(),
            json!({}),
            Some("encoding"),
            &["mark of UTF-16LE", "UTF-8"],
        ),
        (
            [b"\xEF\xBB\xBF".to_vec(), good.clone().into()].concat(),
            json!({ "encoding": "windows-1252" }),
            Some("encoding"),
            &["UTF-8", "windows-1252"],
        ),
        (
            utf16[..utf16.len() - 1].to_vec(),
            json!({ "encoding": "utf-16le" }),
            Some("encoding"),
            &["UTF-16LE", "line 2"],
        ),
        (
            good.clone().into(),
            json!({ "temperature_column": "tmp" }),
            Some("temperature_column"),
            &["line 1", "`tmp`", "`time`, `temp`"],
        ),
        (good.clone().into(), json!({ "time_column": "Time" }), Some("time_column"), &["line 1", "`Time`"]),
        (b"time;temp\n1;2\n".into(), json!({}), Some("time_column"), &["`time;temp`", "delimiter"]),
        (b"time,temp,temp\n1,2,3\n".into(), json!({}), Some("temperature_column"), &["columns 2 and 3"]),
        (
            good.clone().into(),
            json!({ "where": { "origin": "EWR" } }),
            Some("where"),
            &["`origin`", "`time`, `temp`"],
        ),
        (
            b"origin,time,temp\nJFK,2013-05-01 01:00,5\nLGA,2013-05-01 01:00,5\nJFK,2013-05-01 02:00,5\n"
                .into(),
            json!({ "where": { "origin": "EWR" } }),
            Some("where"),
            &["`origin`", "`EWR`", "found `JFK`, `LGA`"],
        ),
        (
            format!("origin,time,temp\n{eleven}").into(),
            json!({ "where": { "origin": "EWR" } }),
            Some("where"),
            &["`S0`", "`S9` and more"],
        ),
        (
            b"origin,level,time,temp\nEWR,low,2013-05-01 01:00,5\nJFK,high,2013-05-01 01:00,5\n".into(),
            json!({ "where": { "origin": "EWR", "level": "high" } }),
            Some("where"),
            &["`origin`", "together"],
        ),
        (warm(70.0).into(), json!({}), Some("unit"), &["2 of 3", "celsius", "as fahrenheit"]),
        (warm(290.0).into(), json!({}), Some("unit"), &["as kelvin"]),
        (
            warm(20.0).into(),
            json!({ "unit": "kelvin" }),
            Some("unit"),
            &["read as kelvin", "celsius or as fahrenheit"],
        ),
        (warm(2_000.0).into(), json!({}), Some("unit"), &["right column"]),
        (
            format!("time,\"Temp, °F\"\n{ROW}").into(),
            json!({ "temperature_column": "Temp, °F" }),
            Some("unit"),
            &["line 1", "fahrenheit", "`unit` is celsius"],
        ),
        (
            format!("time,temp_c\n{ROW}").into(),
            json!({ "temperature_column": "temp_c", "unit": "fahrenheit" }),
            Some("unit"),
            &["says celsius"],
        ),
        (vec![b'a'; MAX_LINE_BYTES + 1], json!({}), None, &["line 1", "bytes"]),
        (vec![b','; MAX_COLUMNS], json!({}), None, &["line 1", "columns"]),
        (
            format!("time,temp\n{ROW}\"never closed{}", "\n1,2".repeat(MAX_LINE_BYTES / 4)).into(),
            json!({}),
            None,
            &["line 3", "quote"],
        ),
    ];
    for (n, (bytes, changes, field, expected)) in table.into_iter().enumerate() {
        let name = format!("case {n}, {changes}");
        let fault = read(&bytes[..], &mapping(changes), now()).expect_err(&name);
        let text = fault.to_string();
        assert_eq!(fault.field(), field, "{name}: {text}");
        for part in expected {
            assert!(text.contains(part), "{name}: `{part}` is not in: {text}");
        }
    }
}

#[test]
fn half_of_the_temperatures_may_be_wrong() {
    let file = taken("time,temp\n2013-05-01 01:00,70\n2013-05-01 02:00,5\n", json!({}));
    assert_eq!((file.rows.taken, file.rows.refused), (1, 1));
}

#[test]
fn the_most_columns_are_taken() {
    let header = format!("time,temp{}", ",x".repeat(MAX_COLUMNS - 2));
    let row = format!("2013-05-01 01:00,5{}", ",".repeat(MAX_COLUMNS - 2));
    assert_eq!(taken(format!("{header}\n{row}\n"), json!({})).rows.taken, 1);
}

/// Gives the same line for ever.
struct Endless {
    line: &'static [u8],
    place: usize,
}

impl Read for Endless {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        for byte in into.iter_mut() {
            *byte = self.line[self.place];
            self.place = (self.place + 1) % self.line.len();
        }
        Ok(into.len())
    }
}

#[test]
fn a_file_without_end_is_left() {
    let with_header = |line| (&b"time,temp\n"[..]).chain(Endless { line, place: 0 });
    let fault = read(with_header(b"2013-05-01 01:00,\n"), &mapping(json!({})), now()).unwrap_err();
    assert!(
        matches!(fault, FileFault::TooLarge { limit: Limit::Rows, line } if line == MAX_ROWS + 2),
        "{fault}"
    );
    let fault = read(with_header(b"\n\n\n\n"), &mapping(json!({})), now()).unwrap_err();
    assert!(matches!(fault, FileFault::TooLarge { limit: Limit::Bytes, .. }), "{fault}");
}

#[test]
fn a_source_that_fails_gives_nothing() {
    struct Broken;
    impl Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the line went dead"))
        }
    }
    let source = format!("time,temp\n{ROW}");
    let fault = read(source.as_bytes().chain(Broken), &mapping(json!({})), now()).unwrap_err();
    assert!(fault.to_string().contains("the line went dead"), "{fault}");
}
