//! `import`: a station's file into a site's readings.

use std::path::Path;

use black_box::program::{Build, command, run};
use model::time::HOUR;
use serde_json::{Value, json};

use crate::rig::{Api, BEGIN, Outside, farm, site};

struct Import {
    outside: Outside,
    database: String,
}

impl Import {
    /// A stopped service whose database has the site `hill`.
    async fn new() -> Import {
        let outside = Outside::new().await;
        let (mut program, base) = outside.serve(None, None);
        let api = Api::new(&base, &program.line("token for the API, shown this once: "));
        farm(&api).await;
        site(&api, "hill", false).await;
        std::fs::write(
            outside.folder.path().join("token"),
            program.line("token for the API, shown this once: "),
        )
        .unwrap();
        assert!(program.stop());
        let database = outside.folder.path().join("bloomtide.db").display().to_string();
        Import { outside, database }
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        let path = self.outside.folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    }

    fn run(&self, site: &str, mapping: &str, file: &str) -> (Option<i32>, String, String) {
        let arguments = ["import", "--database", &self.database, "--site", site, "--mapping", mapping, file];
        let run = run(Build::Plain, &arguments);
        (run.status.code(), String::from_utf8(run.stdout).unwrap(), String::from_utf8(run.stderr).unwrap())
    }

    /// How many readings the site has.
    async fn stored(&self) -> usize {
        let (program, base) = self.outside.serve(None, None);
        let token = std::fs::read_to_string(self.outside.folder.path().join("token")).unwrap();
        let page: Value = Api::new(&base, &token).get("sites/hill/readings?limit=1000").await;
        drop(program);
        page["items"].as_array().unwrap().len()
    }
}

const MAPPING: &str = "name = \"mast\"\ntime_column = \"time\"\ntemperature_column = \"temp\"\nunit = \"celsius\"\nkind = \"instant\"\n";

fn file(celsius: impl Fn(i64) -> f64) -> String {
    // Behind the trial's clock and the system's.
    let rows = (-30..-6).map(|hour| format!("{},{:.1}\n", BEGIN.plus(hour * HOUR), celsius(hour)));
    format!("time,temp\n{}", rows.collect::<String>())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_comes_in_once_and_is_corrected_by_a_later_one() {
    let import = Import::new().await;
    let mapping = import.write("mapping.toml", MAPPING);
    let first = import.write("first.csv", file(|hour| hour as f64));
    let (code, said, _) = import.run("hill", &mapping, &first);
    assert_eq!(code, Some(0));
    assert!(said.contains("24 stored, 0 unchanged, 0 corrected, 0 refused"), "{said}");
    let (_, said, _) = import.run("hill", &mapping, &first);
    assert!(said.contains("0 stored, 24 unchanged, 0 corrected, 0 refused"), "{said}");
    let second = import.write("second.csv", file(|hour| if hour == -10 { 9.5 } else { hour as f64 }));
    let (_, said, _) = import.run("hill", &mapping, &second);
    assert!(said.contains("0 stored, 23 unchanged, 1 corrected, 0 refused"), "{said}");
    let third = import.write("third.csv", "time,temp\n2026-04-01T00:00:00Z,9.0\n2026-04-01T25:00:00Z,9.0\n");
    let (code, said, refused) = import.run("hill", &mapping, &third);
    assert_eq!(code, Some(0));
    assert!(said.contains("1 stored") && said.contains("1 refused"), "{said}");
    assert!(refused.contains("line 3") && refused.contains("2026-04-01T25:00:00Z"), "{refused}");
    assert_eq!(import.stored().await, 25);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_without_a_mapping_is_told_or_refused() {
    let import = Import::new().await;
    let run = |more: &[&str]| {
        let arguments = [&["import", "--database", &import.database, "--site", "hill"], more].concat();
        let run = run(Build::Plain, &arguments);
        (run.status.code(), String::from_utf8(run.stdout).unwrap(), String::from_utf8(run.stderr).unwrap())
    };
    let rows: String = (-30..-6)
        .map(|hour| BEGIN.plus(hour * HOUR).utc().format("%d.%m.%Y %H:%M;11,5\n").to_string())
        .collect();
    let clear = import.write("clear.csv", format!("Zeit (UTC);Temperatur (°C)\n{rows}"));
    let (code, said, how) = run(&["--dry-run", &clear]);
    assert_eq!(code, Some(0), "{how}");
    let report: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((&report["cadence_seconds"], &report["rows"]["taken"]), (&json!(3_600), &json!(24)));
    assert!(how.contains("delimiter = \";\""), "{how}");
    assert_eq!(import.stored().await, 0);
    let (code, said, error) = run(&[&clear]);
    assert_eq!(code, Some(0), "{error}");
    assert!(said.contains("24 stored"), "{said}");
    let unclear = import.write("unclear.csv", "time,temp\n04/05/2013 10:00,11.5\n04/05/2013 11:00,12.1\n");
    let (code, _, error) = run(&[&unclear]);
    assert_eq!(code, Some(2));
    assert!(error.contains("--mapping"), "{error}");
}

/// Name, mapping, file, site, and the words that the error must have.
type Case<'a> = (&'a str, String, Vec<u8>, &'a str, &'a [&'a str]);

#[tokio::test(flavor = "multi_thread")]
async fn bad_input_is_named_and_nothing_is_stored() {
    let import = Import::new().await;
    let with = |from: &str, to: &str| MAPPING.replace(from, to);
    let good = file(|_| 12.0);
    let latin: Vec<u8> = b"time,temp,note\n2026-04-01T00:00:00Z,9.0,h\xfcgel\n".to_vec();
    let cases: Vec<Case<'_>> = vec![
        ("another encoding", MAPPING.into(), latin, "hill", &["utf-8"]),
        (
            "missing column",
            MAPPING.into(),
            b"time,wind\n2026-04-01T00:00:00Z,3\n".to_vec(),
            "hill",
            &["temp", "wind"],
        ),
        ("kelvin read as celsius", MAPPING.into(), file(|_| 285.0).into(), "hill", &["celsius", "kelvin"]),
        (
            "unit in the header",
            with("\"temp\"", "\"temp_f\""),
            good.replace("temp\n", "temp_f\n").into(),
            "hill",
            &["temp_f", "fahrenheit"],
        ),
        (
            "unknown zone",
            format!("{}time_format = \"%Y-%m-%d %H:%M\"\ntime_zone = \"America/Newyork\"\n", MAPPING),
            good.clone().into(),
            "hill",
            &["/time_zone", "America/Newyork"],
        ),
        (
            "unknown unit",
            with("celsius", "reaumur"),
            good.clone().into(),
            "hill",
            &["/unit", "reaumur", "kelvin"],
        ),
        (
            "where that matches nothing",
            format!("{MAPPING}where = {{ temp = \"99.9\" }}\n"),
            good.clone().into(),
            "hill",
            &["99.9", "12.0"],
        ),
        (
            "misspelt key",
            format!("{MAPPING}delimeter = \";\"\n"),
            good.clone().into(),
            "hill",
            &["/delimeter"],
        ),
        (
            "more than half outside",
            MAPPING.into(),
            file(|hour| if hour < -17 { 99.0 } else { 12.0 }).into(),
            "hill",
            &["13 of 24", "60"],
        ),
        (
            "UTF-16",
            MAPPING.into(),
            good.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            "hill",
            &["utf-8"],
        ),
        ("unknown site", MAPPING.into(), good.clone().into(), "dale", &["dale"]),
        ("no file", MAPPING.into(), Vec::new(), "hill", &["empty"]),
    ];
    for (name, mapping, bytes, site, words) in cases {
        let mapping = import.write("mapping.toml", mapping);
        let path = import.write("readings.csv", bytes);
        let (code, said, error) = import.run(site, &mapping, &path);
        assert_eq!(code, Some(2), "{name}: {said}{error}");
        for word in words {
            assert!(error.to_lowercase().contains(&word.to_lowercase()), "{name}: {word} is not in: {error}");
        }
    }
    assert!(Path::new(&import.database).exists());
    assert_eq!(import.stored().await, 0);
}

/// The archive as documented: 12 °C at every hour of the days asked for.
fn archive(request: &wiremock::Request) -> wiremock::ResponseTemplate {
    let asked = |name: &str| {
        let pair = request.url.query_pairs().find(|(key, _)| key == name).unwrap();
        pair.1.into_owned()
    };
    let day = |name: &str| {
        let written = format!("{}T00:00:00Z", asked(name));
        written.parse::<model::time::Instant>().unwrap().0
    };
    let hours: Vec<i64> = (day("start_date")..day("end_date") + 24 * HOUR).step_by(HOUR as usize).collect();
    let degrees = |name: &str| asked(name).parse::<f64>().unwrap();
    wiremock::ResponseTemplate::new(200).set_body_json(json!({
        "latitude": degrees("latitude"), "longitude": degrees("longitude"), "utc_offset_seconds": 0,
        "timezone": "GMT", "hourly_units": {"time": "unixtime", "temperature_2m": "°C"},
        "hourly": {"time": hours, "temperature_2m": vec![12.0; hours.len()]},
    }))
}

#[tokio::test(flavor = "multi_thread")]
async fn hours_of_the_past_come_from_the_archive() {
    let import = Import::new().await;
    let run_archive = |site: &str, days: &str| {
        let mut command = command(Build::Plain, &["import", "--database", &import.database]);
        command.args(["--site", site, "--archive", days]);
        command.env("BLOOMTIDE_OPEN_METEO_ARCHIVE_URL", import.outside.weather.uri());
        command.env("BLOOMTIDE_ALLOW_FEED_HOSTS", "127.0.0.1");
        let run = command.output().unwrap();
        (run.status.code(), String::from_utf8(run.stdout).unwrap(), String::from_utf8(run.stderr).unwrap())
    };
    wiremock::Mock::given(wiremock::matchers::path("/v1/archive"))
        .respond_with(archive)
        .mount(&import.outside.weather)
        .await;
    let (code, _, said) = run_archive("hill", "2013-04-01..2013-04-02");
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("no source of open-meteo"), "{said}");
    let (program, base) = import.outside.serve(None, None);
    let token = std::fs::read_to_string(import.outside.folder.path().join("token")).unwrap();
    let api = Api::new(&base, &token);
    api.post(
        "sites/hill/sources",
        json!({"id": "sky", "name": "sky", "way": "feed", "provider": "open-meteo"}),
    )
    .await;
    drop(program);
    let (code, said, error) = run_archive("hill", "2013-04-01..2014-04-10");
    assert_eq!(code, Some(0), "{error}");
    let hours = 375 * 24;
    assert!(said.ends_with(&format!("up to 2014-04-10: {hours} hours stored that were lacking\n")), "{said}");
    let (_, said, _) = run_archive("hill", "2013-05-01..2013-05-03");
    assert!(said.contains(": 0 hours stored"), "what is there stays: {said}");
    let (code, _, said) = run_archive("hill", "2013-05-03..2013-05-01");
    assert!(code == Some(2) && said.contains("ends before it begins"), "{said}");
}
