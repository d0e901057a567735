use model::series::Flag;

use super::*;
use crate::station_file::{Limit, MAX_LINE_BYTES, Rows};

mod arbitrary;
mod formats;
mod reference;
mod telling;

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

fn now() -> Instant {
    at("2026-06-01T00:00:00Z")
}

/// A file of each format, a few hours of it.
fn samples() -> Vec<(Archive, String)> {
    vec![
        (Archive::IsdLite, ISD_LITE.to_owned()),
        (Archive::Ghcnh, ghcnh(GHCNH_ROWS)),
        (Archive::IemAsos, IEM.to_owned()),
        (Archive::DwdHourly, DWD.to_owned()),
        (Archive::Tmy3, TMY3.to_owned()),
        (Archive::Epw, epw("-5.0", EPW_ROWS)),
    ]
}

const ISD_LITE: &str = "\
2013 04 28 13   128    83 10132   310    51     2     0 -9999
2013 04 28 14 -9999    83 10132   310    51     2     0 -9999
2013 04 28 15   -22    83 10132   310    51     2     0 -9999
";

const GHCNH_ROWS: &str = "\
USW00014734|NEWARK LIBERTY INTL AP|2013-04-28T13:51:00|2013|04|28|13|51|40.6828|-74.1692|2.1|12.8||5|FM-15|343|72502014734|8.3
USW00014734|NEWARK LIBERTY INTL AP|2013-04-28T14:51:00|2013|04|28|14|51|40.6828|-74.1692|2.1||||||
USW00014734|NEWARK LIBERTY INTL AP|2013-04-28T15:51:00|2013|04|28|15|51|40.6828|-74.1692|2.1|-2.2||5|FM-15|343|72502014734|8.3
";

fn ghcnh(rows: &str) -> String {
    format!(
        "STATION|Station_name|DATE|Year|Month|Day|Hour|Minute|LATITUDE|LONGITUDE|ELEVATION|temperature|\
         temperature_Measurement_Code|temperature_Quality_Code|temperature_Report_Type|\
         temperature_Source_Code|temperature_Source_Station_ID|dew_point_temperature\n{rows}"
    )
}

const IEM: &str = "\
#DEBUG: Format Typ    -> comma
#DEBUG: Time Period   -> 2013-04-28 00:00:00+00:00 2013-04-29 00:00:00+00:00
#DEBUG: Time Zone     -> Etc/UTC
#DEBUG: Data Contact   -> someone 515-000-0000
#DEBUG: Entries Found -> 3
station,valid,tmpf,dwpf
EWR,2013-04-28 13:51,55.04,46.94
EWR,2013-04-28 14:51,M,M
EWR,2013-04-28 15:51,28.04,M
";

const DWD: &str = "\
STATIONS_ID;MESS_DATUM;QN_9;TT_TU;RF_TU;eor
       3987;2013042813;    3;  12.8;  84.0;eor
       3987;2013042814;    3;-999  ;-999  ;eor
       3987;2013042815;    1;  -2.2;  84.0;eor
";

const TMY3: &str = "\
725020,\"NEWARK, INTL ARPT\",NJ,-5.0,40.717,-74.183,9
Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),Dry-bulb (C),Dry-bulb source,Dew-point (C)
04/28/2005,23:00,0,12.8,A,8.3
04/28/2005,24:00,0,-9900,?,8.3
04/29/2005,01:00,0,-2.2,A,8.3
";

const EPW_ROWS: &str = "\
2005,4,28,23,60,C9C9,12.8,8.3,79
2005,4,28,24,60,C9C9,99.9,8.3,79
2005,4,29,1,60,C9C9,-2.2,8.3,79
";

fn epw(offset: &str, rows: &str) -> String {
    format!(
        "LOCATION,Newark,NJ,USA,NOAA,725020,40.717,-74.183,{offset},9\n\
         DESIGN CONDITIONS,0\nTYPICAL/EXTREME PERIODS,0\nGROUND TEMPERATURES,0\n\
         HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,\"a, b\"\nCOMMENTS 2,\n\
         DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31\n{rows}"
    )
}

fn taken_with(archive: Archive, bytes: impl AsRef<[u8]>, options: &Options) -> Archived {
    let archived = read(archive, bytes.as_ref(), options, now())
        .unwrap_or_else(|fault| panic!("{}: {fault}", archive.word()));
    let Rows { seen, taken, filtered, missing, refused, superseded } = archived.file.rows;
    assert_eq!(seen, taken + filtered + missing + refused + superseded);
    assert_eq!(taken, archived.file.readings.len() as u64);
    archived
}

fn taken(archive: Archive, bytes: impl AsRef<[u8]>) -> Archived {
    taken_with(archive, bytes, &Options::default())
}

fn fault(archive: Archive, bytes: impl AsRef<[u8]>) -> String {
    read(archive, bytes.as_ref(), &Options::default(), now()).expect_err("the file is wrong").to_string()
}

fn pairs(archived: &Archived) -> Vec<(String, f64)> {
    archived
        .file
        .readings
        .iter()
        .map(|reading| (reading.at.to_string(), (reading.celsius * 1e6).round() / 1e6))
        .collect()
}

fn station(name: &str) -> Options {
    Options { station: Some(name.to_owned()), ..Options::default() }
}

/// Each sample has a warm hour, a missing one and a cold one.
#[test]
fn each_format_gives_its_hours() {
    for (archive, text) in samples() {
        let [first, last] = match archive {
            Archive::IsdLite | Archive::DwdHourly => ["2013-04-28T13:00:00Z", "2013-04-28T15:00:00Z"],
            Archive::Ghcnh | Archive::IemAsos => ["2013-04-28T13:51:00Z", "2013-04-28T15:51:00Z"],
            Archive::Tmy3 | Archive::Epw => ["2005-04-29T04:00:00Z", "2005-04-29T06:00:00Z"],
        };
        let crlf = text.replace('\n', "\r\n");
        let unended = text.trim_end();
        let marked = format!("\u{FEFF}{text}");
        for text in [text.as_str(), &crlf, unended, &marked] {
            let archived = taken(archive, text);
            assert_eq!(pairs(&archived), [(first.to_owned(), 12.8), (last.to_owned(), -2.2)], "{archive:?}");
            assert_eq!(archived.file.rows, Rows { seen: 3, taken: 2, missing: 1, ..Rows::default() });
            assert_eq!((archived.file.first, archived.file.last), (Some(at(first)), Some(at(last))));
            assert!(archived.file.readings.iter().all(|reading| reading.span == 0));
        }
        let id = match archive {
            Archive::IsdLite => None,
            Archive::Ghcnh => Some(("USW00014734", Some("NEWARK LIBERTY INTL AP"))),
            Archive::IemAsos => Some(("EWR", None)),
            Archive::DwdHourly => Some(("3987", None)),
            Archive::Tmy3 => Some(("725020", Some("NEWARK, INTL ARPT"))),
            Archive::Epw => Some(("725020", Some("Newark"))),
        };
        let found = taken(archive, &text).station;
        assert_eq!(found.as_ref().map(|station| (station.id.as_str(), station.name.as_deref())), id);
    }
}

/// A reader that gives a few bytes at a time, as a network does.
struct Pieces<'a> {
    bytes: &'a [u8],
    piece: usize,
}

impl Read for Pieces<'_> {
    fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
        let count = self.piece.min(self.bytes.len()).min(to.len());
        let (now, later) = self.bytes.split_at(count);
        to[..count].copy_from_slice(now);
        self.bytes = later;
        Ok(count)
    }
}

#[test]
fn pieces_make_no_difference() {
    for (archive, text) in samples() {
        let whole = taken(archive, &text);
        for piece in [1, 2, 3, 7, 61, 4_096] {
            let source = Pieces { bytes: text.as_bytes(), piece };
            assert_eq!(
                read(archive, source, &Options::default(), now()).unwrap(),
                whole,
                "{archive:?} by {piece}"
            );
        }
    }
}

#[test]
fn rows_come_sorted_and_the_later_line_holds() {
    let archived =
        taken(Archive::IsdLite, "2013 04 28 15    20\n2013 04 28 13    10\n\n2013 04 28 15    30\n");
    assert_eq!(
        pairs(&archived),
        [("2013-04-28T13:00:00Z".to_owned(), 1.0), ("2013-04-28T15:00:00Z".to_owned(), 3.0)]
    );
    assert_eq!(archived.file.rows, Rows { seen: 3, taken: 2, superseded: 1, ..Rows::default() });
}

#[test]
fn the_whole_file_is_refused() {
    for (archive, text) in samples() {
        assert_eq!(fault(archive, ""), FileFault::Empty.to_string(), "{archive:?}");
        assert!(fault(archive, b"\x1F\x8B\x08\x00...").contains("packed by gzip"));
        assert!(fault(archive, b"PK\x03\x04....").contains("packed by zip"));
        let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert!(fault(archive, utf16).starts_with("line 1: a zero byte"));
        let warm = text.replace("12.8", "285.9").replace("-2.2", "270.9").replace("55.04", "285.9");
        let warm = warm.replace("28.04", "270.9").replace("   128 ", "  2859 ").replace("   -22 ", "  2709 ");
        assert!(
            fault(archive, &warm).contains("2 of 2 temperatures lie outside −60 to 60 °C"),
            "{archive:?}"
        );
        let long = format!("{text}{}", "1".repeat(MAX_LINE_BYTES + 1));
        assert!(fault(archive, &long).ends_with(&Limit::Line.to_string()));
    }
}

#[test]
fn rows_after_now_or_before_our_years_are_refused() {
    let archived = taken(
        Archive::IsdLite,
        "2026 06 01 00    10\n2026 06 01 01    10\n1899 12 31 23    10\n2026 02 29 00    10\n",
    );
    let reasons: Vec<_> =
        archived.file.refused.iter().map(|refused| (refused.line, refused.reason.as_str())).collect();
    assert_eq!(archived.file.rows.taken, 1);
    assert_eq!(
        reasons,
        [
            (
                2,
                "lies in the future: 2026-06-01T01:00:00Z is more than 10 minutes after 2026-06-01T00:00:00Z"
            ),
            (3, "time 1899-12-31T23:00:00Z lies outside the years 1900 to 2199"),
            (4, "time `2026 02 29 00` is none; expected year, month, day and hour like 2013 04 28 17"),
        ]
    );
}

#[test]
fn words() {
    for archive in Archive::ALL {
        assert_eq!(Archive::named(archive.word()), Some(archive));
    }
    assert_eq!(Archive::named("csv"), None);
}
