//! Which format a file is of.

use super::*;

#[test]
fn each_format_is_told_and_told_apart() {
    for (archive, text) in samples() {
        assert_eq!(Archive::recognise(text.as_bytes(), None), Some(archive));
        let crlf = text.replace('\n', "\r\n");
        assert_eq!(Archive::recognise(crlf.as_bytes(), Some("any.csv")), Some(archive));
        let long = text.repeat(2 * HEAD_BYTES / text.len());
        assert_eq!(Archive::recognise(&long.as_bytes()[..HEAD_BYTES], None), Some(archive), "cut in a line");
    }
    let tabs = IEM.replace(',', "\t");
    assert_eq!(Archive::recognise(tabs.as_bytes(), None), Some(Archive::IemAsos));
}

#[test]
fn one_line_of_isd_lite_needs_the_name() {
    let line = ISD_LITE.lines().next().unwrap();
    assert_eq!(Archive::recognise(line.as_bytes(), None), None);
    assert_eq!(Archive::recognise(line.as_bytes(), Some("spring.txt")), None);
    for name in ["725020-14734-2013", "x/A00001-14734-2013.txt"] {
        assert_eq!(Archive::recognise(line.as_bytes(), Some(name)), Some(Archive::IsdLite));
    }
}

#[test]
fn ordinary_files_are_taken_for_none() {
    let ordinary = [
        "",
        "\n\n",
        "time,temp\n2013-05-01 02:00,3\n",
        "station,time,tmpf\nEWR,2013-04-28 13:51,55\n",
        "station,valid,temp\nEWR,2013-04-28 13:51,55\n",
        "station;valid;tmpf\nEWR;2013-04-28 13:51;55\n",
        "STATION|DATE|temperature\nUSW00014734|2013-04-28T13:51:00|12.8\n",
        "STATIONS_ID;MESS_DATUM;QN_8;  R1;RS_IND;WRTR;eor\n",
        "Date,Time,Temp\n04/28/2013,17:00,12.8\n",
        "Site\nDate (MM/DD/YYYY),Time (HH:MM),Temp\n04/28/2013,17:00,12.8\n",
        "LOCATION,time,temp\nhere,2013-04-28 17:00,12.8\n",
        "2013 04 28 13 128\n2013 04 28 14 127\n",
        "\"Plot Title: 10679014\"\n\"#\",\"Date Time, GMT-05:00\",\"Temp, °F\"\n1,07/29/16 10:26:34 AM,72.86\n",
    ];
    for text in ordinary {
        assert_eq!(Archive::recognise(text.as_bytes(), Some("725020-14734-2013.csv")), None, "{text}");
    }
    for file in ["spring-2013.csv", "year-2013.csv"] {
        let path = format!("{}/../../tests/data/{file}", env!("CARGO_MANIFEST_DIR"));
        assert_eq!(Archive::recognise(&std::fs::read(path).unwrap(), None), None);
    }
}

/// A file of one format read as another is refused with what was expected.
#[test]
fn another_format_is_not_read() {
    for (archive, _) in samples() {
        for (other, text) in samples() {
            if archive == other || archive == Archive::IsdLite {
                continue;
            }
            let told = fault(archive, &text);
            assert!(told.contains("expected") || told.contains("no column"), "{told}");
        }
    }
    assert_eq!(
        fault(Archive::IemAsos, "ERROR: the server is busy\n"),
        "line 1: no header of iem-asos; expected station,valid,…"
    );
    assert_eq!(
        fault(Archive::DwdHourly, "STATIONS_ID;MESS_DATUM;QN_8;  R1\n3987;2013042813;3;0.0\n"),
        "line 1: no column `QN_9`, which dwd-hourly files have; the header has `STATIONS_ID`, `MESS_DATUM`, `QN_8`, `R1`"
    );
}
