use super::*;

#[test]
fn a_report_says_how_a_file_was_read() {
    let text = "origin;day;time;temp;note\nEWR;2013-05-01;02:00;3,25;a\nJFK;2013-05-01;02:30;9;b\nEWR;2013-05-01;03:00;-4,5;c\n\
        EWR;2013-05-01;04:00;x;d\nEWR;2013-05-01;05:00;;e\nEWR;2013-05-01;06:30;5;f\nEWR;2013-05-01;07:30;5;g\nEWR;2013-05-01;07:30;6;h\n";
    let mapping = mapping(json!({
        "delimiter": ";", "decimal": ",", "date_column": "day", "time_zone": "+02:00", "where": { "origin": "EWR" },
    }));
    let (file, understood) = understand(text.as_bytes(), &mapping, now()).unwrap();
    assert_eq!(file, read(text.as_bytes(), &mapping, now()).unwrap());
    let uses: Vec<_> =
        understood.columns.iter().map(|column| (column.name.as_deref().unwrap(), column.used_for)).collect();
    assert_eq!(
        uses,
        [
            ("origin", Some("where")),
            ("day", Some("date")),
            ("time", Some("time")),
            ("temp", Some("temperature")),
            ("note", None)
        ]
    );
    assert_eq!(understood.zone.as_deref(), Some("+02:00"));
    assert_eq!(understood.cadence_seconds, Some(3_600));
    let gap = Gap { after: at("2013-05-01T01:00:00Z"), until: at("2013-05-01T04:30:00Z"), seconds: 12_600 };
    assert_eq!(understood.gaps, Gaps { count: 1, listed: vec![gap] });
    assert_eq!(
        understood.rows,
        Rows { seen: 8, taken: 4, filtered: 1, missing: 1, refused: 1, superseded: 1 }
    );
    assert_eq!((understood.refused.len(), understood.refused[0].line), (1, 5));
    let first = &understood.first_readings[0];
    assert_eq!(
        (first.line, first.time.as_str(), first.temperature.as_str()),
        (2, "2013-05-01 02:00", "3,25")
    );
    assert_eq!((first.at, first.celsius), (at("2013-05-01T00:00:00Z"), 3.25));
    assert_eq!(first.cells, ["EWR", "2013-05-01", "02:00", "3,25", "a"]);
    let json = serde_json::to_value(&understood).unwrap();
    assert_eq!(json["first"], "2013-05-01T00:00:00Z");
    assert_eq!(json["unit"], "celsius");
    assert_eq!(json["rows"]["taken"], 4);
}

#[test]
fn a_report_shows_doubled_hours_as_they_were_settled() {
    let text = "time,temp\n2013-11-03 01:30,2\n2013-11-03 01:30,3\n2013-11-03 01:31,4\n";
    let mapping = mapping(json!({ "time_zone": ZONE }));
    let moments = |now| {
        let (_, understood) = understand(text.as_bytes(), &mapping, at(now)).unwrap();
        understood
            .first_readings
            .iter()
            .map(|row| (row.line, row.at.to_string()[11..16].to_owned()))
            .collect::<Vec<_>>()
    };
    let expected =
        |rows: &[(u64, &str)]| rows.iter().map(|(line, at)| (*line, (*at).to_owned())).collect::<Vec<_>>();
    assert_eq!(moments("2014-01-01T00:00:00Z"), expected(&[(2, "05:30"), (3, "06:30"), (4, "06:31")]));
    assert_eq!(moments("2013-11-03T06:20:00Z"), expected(&[(2, "05:30"), (3, "06:30")]));
}

#[test]
fn a_report_is_bounded() {
    let mut text = "time,temp\n".to_owned();
    for day in 0..100 {
        let time = at("2013-01-01T00:00:00Z").plus(day * 86_400).utc().format("%Y-%m-%d %H:%M").to_string();
        text.push_str(&format!("{time},5\n{time},x\n"));
    }
    let (_, understood) = understand(text.as_bytes(), &mapping(json!({})), now()).unwrap();
    assert_eq!((understood.gaps.count, understood.gaps.listed.len()), (99, MOST_GAPS_LISTED));
    assert_eq!((understood.rows.refused, understood.refused.len()), (100, MOST_REFUSED_SHOWN));
    assert_eq!(understood.first_readings.len(), MOST_READ_SHOWN);
    let one = understand(&b"time,temp\n2013-05-01 02:00,3\n"[..], &mapping(json!({})), now()).unwrap().1;
    assert_eq!((one.cadence_seconds, one.gaps.count), (None, 0));
}
