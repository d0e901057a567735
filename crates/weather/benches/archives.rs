//! Megabytes of each archive's format parsed in a second, on one core, beside
//! a pass that only looks for the line ends.
//!
//!     cargo bench -p weather --bench archives
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a benchmark prints its figures and has no public items"
)]

use std::fmt::Write;
use std::hint::black_box;
use std::time::Instant as Stopwatch;

use chrono::{DateTime, Utc};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use model::time::Instant;
use weather::archives::{self, Archive, Options};

const ROWS: i64 = 200_000;
/// Megabytes a second that are wished for.
const FLOOR: f64 = 100.0;
/// Runs of which the fastest is compared with the floor.
const RUNS: usize = 5;

struct Case {
    archive: Archive,
    text: String,
}

/// Rows each quarter of an hour, or each hour where the format has no minutes.
fn text(header: &str, step: i64, row: impl Fn(&mut String, DateTime<Utc>, i64)) -> String {
    let start = Instant(946_684_800);
    let mut text = header.to_owned();
    for n in 0..ROWS {
        let tenths = (n * 7_919) % 600 - 150;
        row(&mut text, start.plus(n * step).utc(), tenths);
        text.push('\n');
    }
    text
}

macro_rules! put {
    ($text:expr, $($part:tt)*) => { write!($text, $($part)*).expect("a text takes more") };
}

fn cases() -> Vec<Case> {
    let celsius = |tenths: i64| tenths as f64 / 10.0;
    let names =
        ["temperature", "dew_point_temperature", "station_level_pressure", "wind_direction", "remarks"];
    let codes =
        ["", "_Measurement_Code", "_Quality_Code", "_Report_Type", "_Source_Code", "_Source_Station_ID"];
    let columns: Vec<String> =
        names.iter().flat_map(|name| codes.iter().map(move |code| format!("{name}{code}"))).collect();
    // The real files have 329 columns, most of them blank.
    let blank = "|".repeat(280);
    let ghcnh = format!(
        "STATION|Station_name|DATE|Year|Month|Day|Hour|Minute|LATITUDE|LONGITUDE|ELEVATION|{}{blank}\n",
        columns.join("|")
    );
    let tail = ",E,9,3.0,E,9,93,A,7,1012,E,9,320,E,9,2.1,E,9,-9900,?,0,990,E,9,0.4,E,8,0.051,F,8,0.240,F,8,-9900,-9900,?,0";
    let front = ",0,0,0,1,0,0,1,0,0,1,0,0,1,0,0,1,0,0,1,0,0,1,0,9,E,9,9,E,9,";
    let tmy3 = "703165,\"SAND POINT\",AK,-9.0,55.317,-160.517,7\nDate (MM/DD/YYYY),Time (HH:MM),a,b,c,d,e,f,g,h,i,j,k,l,m,n,o,p,q,r,s,t,u,v,w,x,y,z,aa,ab,ac,Dry-bulb (C)\n";
    let epw_head = "LOCATION,Newark,NJ,USA,NOAA,725020,40.7,-74.2,-5.0,2\nDESIGN CONDITIONS,0\nTYPICAL/EXTREME PERIODS,0\nGROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,\nCOMMENTS 2,\nDATA PERIODS,1,1,Data,Sunday,1/1,12/31\n";
    vec![
        Case {
            archive: Archive::IsdLite,
            text: text("", 3_600, |text, at, tenths| {
                put!(
                    text,
                    "{} {tenths:5}    83 10132   310    51     2     0 -9999",
                    at.format("%Y %m %d %H")
                );
            }),
        },
        Case {
            archive: Archive::Ghcnh,
            text: text(&ghcnh, 900, |text, at, tenths| {
                put!(
                    text,
                    "USW00014734|NEWARK LIBERTY INTL AP|{}|{}|40.6828|-74.1692|2.1|{}||5|FM-15|343|72502014734|3.3||5|FM-15|343|72502014734||||||{blank}",
                    at.format("%Y-%m-%dT%H:%M:%S"),
                    at.format("%Y|%m|%d|%H|%M"),
                    celsius(tenths)
                );
            }),
        },
        Case {
            archive: Archive::IemAsos,
            text: text("station,valid,tmpf\n", 900, |text, at, tenths| {
                put!(text, "EWR,{},{:.2}", at.format("%Y-%m-%d %H:%M"), 32.0 + celsius(tenths) * 1.8);
            }),
        },
        Case {
            archive: Archive::DwdHourly,
            text: text("STATIONS_ID;MESS_DATUM;QN_9;TT_TU;RF_TU;eor\n", 3_600, |text, at, tenths| {
                put!(text, "       3987;{};    3;{:6.1};  84.0;eor", at.format("%Y%m%d%H"), celsius(tenths));
            }),
        },
        Case {
            archive: Archive::Tmy3,
            text: text(tmy3, 3_600, |text, at, tenths| {
                put!(text, "{}{front}{:.1}{tail}", at.format("%m/%d/%Y,%H:%M"), celsius(tenths));
            }),
        },
        Case {
            archive: Archive::Epw,
            text: text(epw_head, 3_600, |text, at, tenths| {
                let hour = at.format("%H").to_string().parse::<i64>().map_or(0, |hour| hour + 1);
                put!(
                    text,
                    "{},{hour},60,C9C9C9C9*0?9?9?9?9?9?9?9A7A7A7A7A7A7*0E8*0*0,{:.1},1.8,79,100100,0,1415,288,0,0,0,0,0,0,0,340,6.7,6,6,20.0,420,9,999999999,0,0.0500,0,88,0.000,0.0,0.0",
                    at.format("%Y,%-m,%-d"),
                    celsius(tenths)
                );
            }),
        },
    ]
}

/// Seconds that this thread has had of a core, so that a busy machine does not
/// count as a slow program; none where the kernel does not tell.
fn core_seconds() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    told.split_whitespace().next()?.parse::<f64>().ok().map(|nanoseconds| nanoseconds / 1e9)
}

/// Megabytes a second of a core: the fastest run of several.
fn megabytes_a_second(bytes: usize, mut run: impl FnMut()) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..RUNS {
        let watch = Stopwatch::now();
        let before = core_seconds();
        run();
        let after = core_seconds();
        let wall = watch.elapsed().as_secs_f64();
        // The kernel's count moves in steps; a pass within one is timed by the wall.
        let core = before.zip(after).map(|(before, after)| after - before).filter(|core| *core > 0.0);
        best = best.min(core.unwrap_or(wall));
    }
    bytes as f64 / 1e6 / best
}

/// What no reader can do without: finding the line ends.
fn line_ends(text: &[u8]) -> usize {
    let mut longest = 0;
    let mut from = 0;
    for end in memchr::memchr_iter(b'\n', text) {
        longest = longest.max(end - from);
        from = end + 1;
    }
    longest
}

fn read(case: &Case, now: Instant) -> u64 {
    let bytes = black_box(case.text.as_bytes());
    let archived = archives::read(case.archive, bytes, &Options::default(), now).expect("the file is right");
    assert_eq!(archived.file.rows.taken, ROWS as u64, "{:?}", archived.file.refused.first());
    archived.file.rows.taken
}

fn archive_files(criterion: &mut Criterion) {
    let now = Instant(1_767_225_600);
    let cases = cases();
    for case in &cases {
        let bytes = case.text.len();
        let speed = megabytes_a_second(bytes, || {
            black_box(read(case, now));
        });
        let bare = megabytes_a_second(bytes, || {
            black_box(line_ends(black_box(case.text.as_bytes())));
        });
        println!(
            "{}: {speed:.0} MB/s on one core ({:.1} million rows/s), {:.1} times the floor of {FLOOR:.0} MB/s{}; line ends alone {bare:.0} MB/s",
            case.archive.word(),
            speed / bytes as f64 * ROWS as f64,
            speed / FLOOR,
            if speed < FLOOR { ", BELOW THE FLOOR" } else { "" },
        );
    }
    let mut group = criterion.benchmark_group("archives");
    group.sample_size(10);
    for case in &cases {
        group.throughput(Throughput::Bytes(case.text.len() as u64));
        group.bench_function(case.archive.word(), |bencher| bencher.iter(|| read(case, now)));
    }
    group.finish();
}

criterion_group!(benches, archive_files);
criterion_main!(benches);
