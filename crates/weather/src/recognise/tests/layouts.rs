//! Files of each layout, recognised and read. Their readings are invented; the
//! layouts are those that loggers and stations write.

use super::*;

/// A file and what must come of it.
struct Case {
    name: &'static str,
    bytes: Vec<u8>,
    zone: Option<Tz>,
    /// Moments in UTC, hundredths of a °C.
    readings: &'static [(&'static str, i64)],
    /// Keys of the doubts, in order.
    doubts: &'static [&'static str],
    /// Keys and values of the mapping that must be so.
    mapping: Value,
}

fn case(
    name: &'static str,
    bytes: impl Into<Vec<u8>>,
    zone: Option<Tz>,
    readings: &'static [(&'static str, i64)],
    doubts: &'static [&'static str],
    mapping: Value,
) -> Case {
    Case { name, bytes: bytes.into(), zone, readings, doubts, mapping }
}

const SEMICOLONS: &str = "Zeitpunkt;Feuchte;Lufttemperatur  °C ;Taupunkt °C\r\n\
    14.05.2013   15:30;45,0;18,9;6,9\r\n14.05.2013   15:35;45,5;19,25;6,9\r\n14.05.2013   15:40;45,5;---;6,9\r\n";

fn of_signs() -> Vec<Case> {
    let latin1: Vec<u8> = SEMICOLONS.chars().map(|sign| sign as u8).collect();
    const GERMAN: &[(&str, i64)] = &[("2013-05-14T13:30:00Z", 1890), ("2013-05-14T13:35:00Z", 1925)];
    let german = json!({
        "delimiter": ";", "decimal": ",", "time_format": "%d.%m.%Y %H:%M", "time_zone": "Europe/Berlin",
        "temperature_column": "Lufttemperatur °C", "unit": "celsius",
    });
    let with = |encoding: &str| {
        let mut table = german.clone();
        table["encoding"] = json!(encoding);
        table
    };
    let doubts: &[&str] = &["time_zone", "kind"];
    vec![
        case("semicolons and decimal commas", SEMICOLONS, Some(Berlin), GERMAN, doubts, with("utf-8")),
        case("windows-1252", latin1, Some(Berlin), GERMAN, doubts, with("windows-1252")),
        case(
            "UTF-8 with its mark",
            format!("\u{FEFF}{SEMICOLONS}"),
            Some(Berlin),
            GERMAN,
            doubts,
            with("utf-8"),
        ),
        case(
            "UTF-16LE, marked",
            utf16(SEMICOLONS, u16::to_le_bytes, true),
            Some(Berlin),
            GERMAN,
            doubts,
            with("utf-16le"),
        ),
        case(
            "UTF-16BE, marked",
            utf16(SEMICOLONS, u16::to_be_bytes, true),
            Some(Berlin),
            GERMAN,
            doubts,
            with("utf-16be"),
        ),
        case(
            "UTF-16LE",
            utf16(SEMICOLONS, u16::to_le_bytes, false),
            Some(Berlin),
            GERMAN,
            doubts,
            with("utf-16le"),
        ),
        case(
            "UTF-16BE",
            utf16(SEMICOLONS, u16::to_be_bytes, false),
            Some(Berlin),
            GERMAN,
            doubts,
            with("utf-16be"),
        ),
        case(
            "commas, RFC 3339, several columns of time",
            "station,year,month,day,hour,tmpf,time_utc\nX,2013,5,1,0,50,2013-05-01T04:00:00Z\nX,2013,5,1,1,M,2013-05-01T05:00:00Z\nX,2013,5,1,2,41,2013-05-01T06:00:00Z\n",
            Some(New_York),
            &[("2013-05-01T04:00:00Z", 1000), ("2013-05-01T06:00:00Z", 500)],
            &["kind"],
            json!({ "time_column": "time_utc", "time_format": "rfc3339", "temperature_column": "tmpf", "unit": "fahrenheit" }),
        ),
        case(
            "tabs, an offset in each time",
            "when\tAir temp (°C)\tSoil temp (°C)\n2013-05-01 02:00 +0200\t3.25\t9\n2013-05-01 03:00 +0200\t-4.5\t9\n",
            None,
            &[("2013-05-01T00:00:00Z", 325), ("2013-05-01T01:00:00Z", -450)],
            &["kind"],
            json!({ "delimiter": "\t", "time_format": "%Y-%m-%d %H:%M %z", "temperature_column": "Air temp (°C)" }),
        ),
        case(
            "upright strokes, UTC in the header",
            "Date (UTC)|Time|Temperature [K]\n2013-05-01|02:00|283.15\n2013-05-01|03:00|284.15\n",
            Some(New_York),
            &[("2013-05-01T02:00:00Z", 1000), ("2013-05-01T03:00:00Z", 1100)],
            &["kind"],
            json!({ "delimiter": "|", "date_column": "Date (UTC)", "time_column": "Time", "unit": "kelvin", "time_zone": "UTC" }),
        ),
    ]
}

fn of_loggers() -> Vec<Case> {
    vec![
        case(
            "a title, quoted commas and serial numbers in the header",
            "\u{FEFF}\"Plot Title: 4711 hollow\"\r\n\"#\",\"Date Time, GMT-05:00\",\"Temp, °F (LGR S/N: 4711, SEN S/N: 4712, LBL: bench)\",\"RH, % (LGR S/N: 4711, SEN S/N: 4713)\",Host Connected\r\n\
             1,05/13/13 10:26:34 PM,50.000,80.1,\r\n2,05/13/13 10:31:34 PM,,,Logged\r\n3,05/14/13 12:01:34 AM,41.000,81.2,\r\n",
            Some(New_York),
            &[("2013-05-14T03:26:34Z", 1000), ("2013-05-14T05:01:34Z", 500)],
            &["kind"],
            json!({
                "skip_lines": 1, "time_column": "Date Time", "time_zone": "-05:00", "time_format": "%m/%d/%y %I:%M:%S %p",
                "temperature_column": "Temp, °F", "unit": "fahrenheit",
            }),
        ),
        case(
            "the same saved again by a spreadsheet, degree sign lost",
            "Plot Title: 4711 hollow,,\n#,\"Date Time, GMT-05:00\",\"Temp, ?F (LGR S/N: 4711)\"\n1,5/13/2013 22:26,50\n2,5/13/2013 22:31,41\n",
            Some(New_York),
            &[("2013-05-14T03:26:00Z", 1000), ("2013-05-14T03:31:00Z", 500)],
            &["kind"],
            json!({ "skip_lines": 1, "time_format": "%m/%d/%Y %H:%M", "unit": "fahrenheit" }),
        ),
        case(
            "four header lines: file, names, units, how summed up",
            "\"LOG4\",\"CR7\",\"CR7\",\"4711\",\"OS.1\",\"CPU:orchard\",\"123\",\"Hourly\"\n\"TIMESTAMP\",\"RECORD\",\"BattV_Min\",\"AirTC_Avg\",\"RH\"\n\"TS\",\"RN\",\"Volts\",\"Deg C\",\"%\"\n\"\",\"\",\"Min\",\"Avg\",\"Smp\"\n\
             \"2013-05-01 02:00:00\",0,12.9,3.25,90\n\"2013-05-01 03:00:00\",1,12.9,\"NAN\",91\n\"2013-05-01 04:00:00\",2,12.9,-4.5,91\n",
            Some(New_York),
            &[("2013-05-01T06:00:00Z", 325), ("2013-05-01T08:00:00Z", -450)],
            &["time_zone", "kind"],
            json!({
                "skip_lines": 1, "skip_after_header": 2, "time_column": "TIMESTAMP", "temperature_column": "AirTC_Avg",
                "unit": "celsius", "kind": "mean-ending", "interval_minutes": 60,
            }),
        ),
        case(
            "names in two parts, tabs, a clock of twelve hours",
            "\t\tTemp\tHi\tLow\tOut\tDew\tIn\n\
             Date\tTime\tOut °F\tTemp\tTemp\tHum\tPt.\tTemp\n\
             5/13/13\t12:30a\t50.0\t50.2\t49.8\t90\t45.0\t68.0\n5/13/13\t12:30p\t59.0\t60.2\t49.8\t90\t45.0\t69.0\n5/13/13\t1:00p\t---\t---\t---\t---\t---\t69.0\n",
            Some(New_York),
            &[("2013-05-13T04:30:00Z", 1000), ("2013-05-13T16:30:00Z", 1500)],
            &["time_zone", "kind"],
            json!({
                "header_lines": 2, "date_column": "Date", "time_column": "Time", "time_format": "%m/%d/%y %I:%M%p",
                "temperature_column": "Temp Out °F",
            }),
        ),
        case(
            "groups above the names",
            "Timestamp,Outdoor,,Indoor,\nTime,Temperature(°F),Humidity(%),Temperature(°F),Humidity(%)\n2013/5/13 1:00,50.0,90,68,40\n2013/5/13 1:05,41.0,90,68,40\n",
            Some(New_York),
            &[("2013-05-13T05:00:00Z", 1000), ("2013-05-13T05:05:00Z", 500)],
            &["time_zone", "kind"],
            json!({ "header_lines": 2, "time_column": "Timestamp Time", "temperature_column": "Outdoor Temperature(°F)" }),
        ),
        case(
            "numbers and titles below the names, day and hour apart",
            "surface observations;Parameter description;cloud_cover_total;dry_bulb_temperature_at_2_meter;dew_point_temperature\n             ;;20010;12101;12103\nDatum;Uhrzeit (UTC);Wolken;Temperatur (2m);Taupunkt\n;;%;Grad C;Grad C\n             13.05.13;02:00;---;3,3;1,2\n13.05.13;01:00;88;---;1,2\n13.05.13;00:00;88;-4,5;1,2\n",
            Some(Berlin),
            &[("2013-05-13T00:00:00Z", -450), ("2013-05-13T02:00:00Z", 330)],
            &["kind"],
            json!({ "skip_lines": 2, "skip_after_header": 1, "decimal": ",", "temperature_column": "Temperatur (2m)", "time_zone": "UTC" }),
        ),
        case(
            "notes before the header, with the zone",
            "sep=,\nStation: hollow\nTime zone: America/New_York\n\n\"Date & Time\",\"Temp - °F\",\"High Temp - °F\",\"Inside Temp - °F\",\"Heat Index - °F\"\n\
             \"5/13/13 1:00 AM\",\"50.0\",\"51\",\"68\",\"50\"\n\"5/13/13 1:15 AM\",\"--\",\"--\",\"68\",\"--\"\n\"5/13/13 1:30 AM\",\"41.0\",\"51\",\"68\",\"50\"\n",
            Some(Berlin),
            &[("2013-05-13T05:00:00Z", 1000), ("2013-05-13T05:30:00Z", 500)],
            &["kind"],
            json!({ "skip_lines": 4, "time_zone": "America/New_York", "temperature_column": "Temp - °F" }),
        ),
        case(
            "a degree sign spoilt by another program, a column of zones",
            "date,time,zone,Outdoor temp Â°C\n2013-05-01,01:00 AM,UTC,3.25\n2013-05-01,02:00 PM,UTC,-4.5\n",
            None,
            &[("2013-05-01T01:00:00Z", 325), ("2013-05-01T14:00:00Z", -450)],
            &["kind"],
            json!({ "time_zone": "UTC", "date_column": "date", "time_format": "%Y-%m-%d %I:%M %p", "unit": "celsius" }),
        ),
    ]
}

fn of_blanks() -> Vec<Case> {
    vec![
        case(
            "blanks, year to hour in columns, hour 24",
            "# hourly means\nyear mo da hr  temp_c   rh\n2013  4 30 23   3.25   80\n2013  4 30 24  -4.50   81\n2013  5  1  1   0.50   82\n",
            Some(New_York),
            &[("2013-05-01T03:00:00Z", 325), ("2013-05-01T04:00:00Z", -450), ("2013-05-01T05:00:00Z", 50)],
            &["time_zone", "kind"],
            json!({
                "delimiter": "blanks", "skip_lines": 1, "date_columns": ["year", "mo", "da"], "time_column": "hr",
                "time_format": "%Y %m %d %H", "kind": "mean-ending", "interval_minutes": 60,
            }),
        ),
        case(
            "year to minute in columns",
            "Year,Month,Day,Hour,Minute,T [°C]\n2013,5,1,0,0,3.25\n2013,5,1,0,20,3.5\n2013,5,1,0,40,3.75\n2013,5,1,1,0,4\n",
            Some(Berlin),
            &[
                ("2013-04-30T22:00:00Z", 325),
                ("2013-04-30T22:20:00Z", 350),
                ("2013-04-30T22:40:00Z", 375),
                ("2013-04-30T23:00:00Z", 400),
            ],
            &["time_zone", "kind"],
            json!({ "date_columns": ["Year", "Month", "Day", "Hour"], "time_column": "Minute", "time_format": "%Y %m %d %H %M" }),
        ),
        case(
            "no header",
            "20130513 0100   3.25\n20130513 0130  -4.50\n20130513 2400   0.50\n",
            Some(New_York),
            &[("2013-05-13T05:00:00Z", 325), ("2013-05-13T05:30:00Z", -450), ("2013-05-14T04:00:00Z", 50)],
            &["temperature_column", "unit", "time_zone", "kind"],
            json!({ "delimiter": "blanks", "header_lines": 0, "date_column": "#1", "time_column": "#2", "temperature_column": "#3" }),
        ),
        case(
            "places in the line, empty cells",
            "date       hour  wind  temp°C  rain\n2013-05-13 01:00         3.25\n2013-05-13 02:00  12.1   -4.50   0.2\n2013-05-13 03:00  11.0           0.2\n2013-05-13 04:00         0.50\n",
            Some(New_York),
            &[("2013-05-13T05:00:00Z", 325), ("2013-05-13T06:00:00Z", -450), ("2013-05-13T08:00:00Z", 50)],
            &["time_zone", "kind"],
            json!({ "columns": [[1, 10], [11, 16], [17, 22], [23, 30], [31, 36]], "temperature_column": "temp°C" }),
        ),
        case(
            "places in the line, names wider than the readings",
            "day        hour  wind_speed  air_temperature_c  rain\n2013-05-13 01:00              3.25\n2013-05-13 02:00  12.1       -4.50              0.2\n2013-05-13 03:00  11.0                          0.2\n2013-05-13 04:00              0.50\n",
            Some(New_York),
            &[("2013-05-13T05:00:00Z", 325), ("2013-05-13T06:00:00Z", -450), ("2013-05-13T08:00:00Z", 50)],
            &["time_zone", "kind"],
            json!({ "temperature_column": "air_temperature_c" }),
        ),
        case(
            "date and hour of 24 in two columns",
            "station;MESS_DATUM;hour;TT_TU [°C];missing\n44;20130512;23;3,25;\n44;20130512;24;-999,9;\n44;20130513;1;-4,5;\n",
            Some(Berlin),
            &[("2013-05-12T21:00:00Z", 325), ("2013-05-12T23:00:00Z", -450)],
            &["time_zone", "kind"],
            json!({ "date_column": "MESS_DATUM", "time_column": "hour", "time_format": "%Y%m%d %H" }),
        ),
        case(
            "seconds since 1970 and names of months",
            "epoch,temp_c\n1367373600,3.25\n1367377200,-4.5\n",
            None,
            &[("2013-05-01T02:00:00Z", 325), ("2013-05-01T03:00:00Z", -450)],
            &["kind"],
            json!({ "time_format": "%s" }),
        ),
        case(
            "names of months, an own word for missing",
            "Time UTC,temp_c\n1-May-2013 02:00,3.25\n1-May-2013 03:00,fault\n1-May-2013 04:00,fault\n1-May-2013 05:00,-4.5\n1-May-2013 06:00,-4.5\n",
            None,
            &[("2013-05-01T02:00:00Z", 325), ("2013-05-01T05:00:00Z", -450), ("2013-05-01T06:00:00Z", -450)],
            &["missing", "kind"],
            json!({ "time_format": "%d-%B-%Y %H:%M", "missing": ["fault"], "time_zone": "UTC" }),
        ),
    ]
}

#[test]
fn files_of_each_layout_are_recognised_and_read() {
    for case in of_signs().into_iter().chain(of_loggers()).chain(of_blanks()) {
        let name = case.name;
        let found = recognise(&case.bytes, &json!({}), case.zone)
            .unwrap_or_else(|fault| panic!("{name}: {fault}; told {:?}", fault.told));
        let table = found.mapping.to_json();
        for (key, value) in case.mapping.as_object().unwrap() {
            assert_eq!(&table[key], value, "{name}: {key} in {table}, told {:?}", found.told);
        }
        let expected: Vec<(String, i64)> =
            case.readings.iter().map(|(at, c)| ((*at).to_owned(), *c)).collect();
        assert_eq!(readings(&case.bytes, &found.mapping), expected, "{name}: {table}");
        assert_eq!(keys(&found.doubts), case.doubts, "{name}: {:?}", found.doubts);
        assert_eq!(model::input::read(&table, Mapping::from_fields).unwrap(), found.mapping, "{name}");
    }
}
