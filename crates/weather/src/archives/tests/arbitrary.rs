//! Whatever comes, it is read or refused: no panic, and no more kept than the
//! limits allow.

use proptest::prelude::*;

use super::*;
use crate::station_file::MAX_REFUSED_KEPT;

fn check(archive: Archive, bytes: &[u8], options: &Options) {
    let _ = Archive::recognise(&bytes[..bytes.len().min(HEAD_BYTES)], Some("725020-14734-2013"));
    let Ok(Archived { file, .. }) = read(archive, bytes, options, now()) else {
        return;
    };
    let Rows { seen, taken, filtered, missing, refused, superseded } = file.rows;
    let lines = bytes.iter().filter(|byte| **byte == b'\n').count() as u64 + 1;
    assert!(seen <= lines);
    assert_eq!(seen, taken + filtered + missing + refused + superseded);
    assert_eq!(taken, file.readings.len() as u64);
    assert!(file.refused.len() <= MAX_REFUSED_KEPT && file.refused.len() as u64 <= refused);
    assert!(file.refused.iter().all(|row| (1..=lines).contains(&row.line) && row.reason.len() < 600));
    assert!(file.readings.windows(2).all(|pair| pair[0].at < pair[1].at));
    for reading in &file.readings {
        assert!((-60.0..=60.0).contains(&reading.celsius) && reading.span == 0);
        assert!(reading.at >= Instant::MIN && reading.at <= now().plus(600));
    }
}

fn options() -> impl Strategy<Value = Options> {
    let station = proptest::option::of(prop_oneof![Just("EWR".to_owned()), "[A-Z0-9]{0,6}"]);
    let clock = proptest::option::of(prop_oneof![
        Just(WallClock::Utc),
        (-50_400i32..50_400).prop_map(WallClock::Fixed),
        Just(WallClock::Zone(chrono_tz::America::New_York)),
    ]);
    (station, clock, proptest::option::of(any::<i32>())).prop_map(|(station, clock, year)| Options {
        station,
        clock,
        year,
    })
}

fn archive() -> impl Strategy<Value = Archive> {
    proptest::sample::select(Archive::ALL.to_vec())
}

/// One change of a file's bytes.
#[derive(Debug, Clone)]
enum Change {
    Set(prop::sample::Index, u8),
    Insert(prop::sample::Index, Vec<u8>),
    Cut(prop::sample::Index, usize),
    Repeat(prop::sample::Index, usize),
}

fn change() -> impl Strategy<Value = Change> {
    let telling = prop_oneof![
        any::<u8>(),
        proptest::sample::select(b"|;,\t\"#\n\r -+.0123456789eEMZT:/\xFF\x00".to_vec())
    ];
    let place = any::<prop::sample::Index>;
    prop_oneof![
        (place(), telling.clone()).prop_map(|(at, byte)| Change::Set(at, byte)),
        (place(), proptest::collection::vec(telling, 1..12))
            .prop_map(|(at, bytes)| Change::Insert(at, bytes)),
        (place(), 1usize..80).prop_map(|(at, length)| Change::Cut(at, length)),
        (place(), 1usize..200).prop_map(|(at, length)| Change::Repeat(at, length)),
    ]
}

fn changed(mut bytes: Vec<u8>, changes: &[Change]) -> Vec<u8> {
    for change in changes {
        if bytes.is_empty() {
            break;
        }
        match change {
            Change::Set(at, byte) => {
                let at = at.index(bytes.len());
                bytes[at] = *byte;
            }
            Change::Insert(at, more) => {
                let at = at.index(bytes.len());
                bytes.splice(at..at, more.iter().copied());
            }
            Change::Cut(at, length) => {
                let at = at.index(bytes.len());
                bytes.drain(at..bytes.len().min(at + length));
            }
            Change::Repeat(at, length) => {
                let at = at.index(bytes.len());
                let again = bytes[at..bytes.len().min(at + length)].to_vec();
                bytes.splice(at..at, again);
            }
        }
    }
    bytes
}

proptest! {
    #[test]
    fn any_bytes(archive in archive(), bytes in proptest::collection::vec(any::<u8>(), 0..2_000), options in options()) {
        check(archive, &bytes, &options);
    }

    #[test]
    fn changed_samples(
        sample in 0..samples().len(),
        changes in proptest::collection::vec(change(), 1..12),
        options in options(),
        other in proptest::option::weighted(0.1, archive()),
    ) {
        let (archive, text) = samples().swap_remove(sample);
        check(other.unwrap_or(archive), &changed(text.into_bytes(), &changes), &options);
    }

    /// Rows below a right header, of the signs that such rows have.
    #[test]
    fn arbitrary_rows(sample in 0..samples().len(), rows in "([0-9;,|:/ TMZ.\\-]{0,60}\n){0,20}", options in options()) {
        let (archive, text) = samples().swap_remove(sample);
        check(archive, format!("{text}{rows}").as_bytes(), &options);
    }

    /// Refused lines are counted in the file, whatever stands before.
    #[test]
    fn any_row_in_order_is_taken(hours in proptest::collection::vec((0i64..1_000_000, -600i64..=600), 1..200)) {
        let text: String = hours
            .iter()
            .map(|(hour, tenths)| {
                let at = Instant(hour * 3_600).utc();
                format!("{} {tenths:5} -9999 -9999 -9999 -9999 -9999 -9999 -9999\n", at.format("%Y %m %d %H"))
            })
            .collect();
        let file = read(Archive::IsdLite, text.as_bytes(), &Options::default(), Instant::MAX).unwrap().file;
        let expected: std::collections::BTreeMap<i64, i64> = hours.iter().copied().collect();
        let found: Vec<(i64, i64)> = file
            .readings
            .iter()
            .map(|reading| (reading.at.0 / 3_600, (reading.celsius * 10.0).round() as i64))
            .collect();
        prop_assert_eq!(found, expected.into_iter().collect::<Vec<_>>());
        prop_assert_eq!(Archive::recognise(text.as_bytes(), Some("725020-14734-2013")), Some(Archive::IsdLite));
    }
}
