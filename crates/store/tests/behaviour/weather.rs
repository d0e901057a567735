//! Sources, uploads, fetches.

use model::air::Air;
use model::series::{Flag, Forecast, Reading};
use model::time::Instant;
use serde_json::json;
use store::{Source, StoreError, Upload, Way};

use crate::rows::{self, Orchard, SPRING, hours};
use crate::suite::{Suite, call};

fn upload(stored: u64, unchanged: u64, corrected: u64) -> Upload {
    Upload { stored, unchanged, corrected }
}

pub async fn sources(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let feed = rows::feed(&orchard.site.id, &rows::id("cell"));
    call!(suite, add_source(&feed)).unwrap();
    assert_eq!(call!(suite, source(&feed.id)).unwrap().as_ref(), Some(&feed));
    assert_eq!(call!(suite, source("none")).unwrap(), None);
    let sources = call!(suite, sources_of(&orchard.site.id)).unwrap();
    assert_eq!(sources, [orchard.station.clone(), feed.clone()], "in order of trust");

    let mapping = json!({ "unit": "celsius" });
    call!(suite, set_mapping(&orchard.station, &mapping)).unwrap();
    let late = call!(suite, set_mapping(&orchard.station, &mapping));
    assert!(matches!(late, Err(StoreError::Changed { .. })), "{late:?}");
    let changed = call!(suite, source(&orchard.station.id)).unwrap().unwrap();
    assert_eq!(changed.mapping, Some(mapping.clone()));
    assert!(call!(suite, set_mapping(&rows::station("none"), &mapping)).is_err());

    let same_name = Source { id: rows::id("source"), ..orchard.station.clone() };
    assert!(matches!(call!(suite, add_source(&same_name)), Err(StoreError::Conflict { .. })));
    let no_cell = Source { cell: None, name: "Second grid".into(), ..feed };
    assert!(matches!(call!(suite, add_source(&no_cell)), Err(StoreError::Refused(_))));
    let hand = Source { way: Way::Hand, provider: Some("sky".into()), ..same_name };
    assert!(matches!(call!(suite, add_source(&hand)), Err(StoreError::Refused(_))));
}

async fn version(suite: &Suite, orchard: &Orchard) -> i64 {
    call!(suite, site(&orchard.site.id)).unwrap().unwrap().version
}

async fn stored(suite: &Suite, orchard: &Orchard) -> Vec<Reading> {
    let all = call!(suite, readings(&orchard.site.id, Instant::MIN, Instant::MAX)).unwrap();
    assert_eq!(all[0].0.id, orchard.station.id);
    all.into_iter().next().unwrap().1
}

pub async fn uploads(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let id = orchard.station.id.as_str();
    let day = rows::readings(0, 24);
    assert_eq!(call!(suite, store_readings(id, &[], SPRING)).unwrap(), upload(0, 0, 0));
    assert_eq!(version(suite, &orchard).await, 1);

    let mut backwards = day.clone();
    backwards.reverse();
    assert_eq!(call!(suite, store_readings(id, &backwards, SPRING)).unwrap(), upload(24, 0, 0));
    assert_eq!(version(suite, &orchard).await, 2);
    let back = stored(suite, &orchard).await;
    assert_eq!(back, day);
    assert!(back.iter().zip(&day).all(|(a, b)| a.celsius.to_bits() == b.celsius.to_bits()), "to the bit");

    assert_eq!(call!(suite, store_readings(id, &day, SPRING)).unwrap(), upload(0, 24, 0));
    assert_eq!(version(suite, &orchard).await, 2, "nothing new raises nothing");

    // One corrected by a last bit, one by its flag, one added twice: the later
    // holds.
    let mut second = day.clone();
    second[3].celsius = f64::from_bits(second[3].celsius.to_bits() + 1);
    second[5].flag = Flag::Suspect;
    second.push(Reading::instant(hours(30), 1.0));
    second.push(Reading::mean_ending(hours(30), 3_600, -0.0));
    let later = SPRING.plus(600);
    assert_eq!(call!(suite, store_readings(id, &second, later)).unwrap(), upload(1, 22, 2));
    assert_eq!(version(suite, &orchard).await, 3);
    let back = stored(suite, &orchard).await;
    assert_eq!(back[3].celsius.to_bits(), second[3].celsius.to_bits());
    assert_eq!(back[5], second[5]);
    assert_eq!((back[24].span, back[24].celsius.to_bits()), (3_600, 0.0_f64.to_bits()));
    assert_eq!(call!(suite, store_readings(id, &second, later)).unwrap(), upload(0, 25, 0));

    let third = [Reading::instant(hours(3), 1.5)];
    assert_eq!(call!(suite, store_readings(id, &third, later)).unwrap(), upload(0, 0, 1));
    let earlier = call!(suite, earlier_readings(id, hours(0), hours(4))).unwrap();
    let kept: Vec<_> = earlier.iter().map(|e| (e.reading, e.received_at, e.replaced_at)).collect();
    assert_eq!(kept, [(day[3], SPRING, later), (second[3], later, later)], "nothing is lost");

    let mut broken = rows::readings(40, 50);
    broken[9].celsius = f64::NAN;
    assert!(matches!(call!(suite, store_readings(id, &broken, later)), Err(StoreError::Refused(_))));
    assert_eq!(stored(suite, &orchard).await.len(), 25, "all or none");
    assert!(matches!(call!(suite, store_readings("none", &day, SPRING)), Err(StoreError::NotFound { .. })));
}

pub async fn large_uploads(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let id = orchard.station.id.as_str();
    // Every second hour first, so that the second upload lies between and over
    // what is there, across several statements.
    let all = rows::readings(0, 9_001);
    let even: Vec<Reading> = all.iter().step_by(2).copied().collect();
    assert_eq!(call!(suite, store_readings(id, &even, SPRING)).unwrap(), upload(4_501, 0, 0));
    let mut changed = all.clone();
    for reading in changed.iter_mut().step_by(10) {
        reading.celsius += 0.1;
    }
    let got = call!(suite, store_readings(id, &changed, SPRING)).unwrap();
    assert_eq!(got, upload(4_500, 3_600, 901));
    assert_eq!(stored(suite, &orchard).await, changed);
    assert_eq!(version(suite, &orchard).await, 3);
}

pub async fn pages(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let hand = Source {
        id: rows::id("source"),
        name: "By hand".into(),
        way: Way::Hand,
        trust: 3,
        ..orchard.station.clone()
    };
    call!(suite, add_source(&hand)).unwrap();
    let day = rows::readings(0, 24);
    call!(suite, store_readings(&orchard.station.id, &day, SPRING)).unwrap();
    call!(suite, store_readings(&hand.id, &day[..12], SPRING)).unwrap();

    let both = call!(suite, readings(&orchard.site.id, hours(10), hours(12))).unwrap();
    assert_eq!(both[0].1, day[10..=12]);
    assert_eq!((both[1].0.id.as_str(), both[1].1.as_slice()), (hand.id.as_str(), &day[10..12]));

    let mut seen = Vec::new();
    let mut last: Option<(Instant, String)> = None;
    loop {
        let after = last.as_ref().map(|(at, id)| (*at, id.as_str()));
        let page = call!(suite, readings_page(&orchard.site.id, hours(2), hours(20), after, 5)).unwrap();
        assert!(page.len() <= 5);
        let Some((id, reading)) = page.last() else {
            break;
        };
        last = Some((reading.at, id.clone()));
        seen.extend(page);
    }
    assert_eq!(seen.len(), 19 + 10);
    assert!(seen.is_sorted_by(|a, b| (a.1.at, &a.0) < (b.1.at, &b.0)), "each once, in order");
}

pub async fn fetches(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let feed = rows::feed(&orchard.site.id, &rows::id("cell"));
    call!(suite, add_source(&feed)).unwrap();
    let site_id = orchard.site.id.as_str();
    assert_eq!(call!(suite, latest_forecast(site_id)).unwrap(), None);

    let issued = |at: i64, celsius: f64| Forecast {
        issued_at: hours(at),
        hours: (at + 1..at + 5).map(|hour| Reading::instant(hours(hour), celsius)).collect(),
    };
    let past = rows::readings(0, 3);
    let first = issued(2, 8.25);
    let got = call!(suite, store_fetch(&feed.id, &past, Some(&first), hours(2))).unwrap();
    assert_eq!(got, upload(3, 0, 0));
    assert_eq!(version(suite, &orchard).await, 2, "raised once for both");
    let held = call!(suite, latest_forecast(site_id)).unwrap();
    assert_eq!(held, Some((feed.id.clone(), first.clone())));

    call!(suite, store_fetch(&feed.id, &past, Some(&first), hours(2).plus(60))).unwrap();
    call!(suite, store_fetch(&feed.id, &past, None, hours(2).plus(90))).unwrap();
    assert_eq!(version(suite, &orchard).await, 2, "the same again raises nothing");

    let second = issued(3, 12.0);
    call!(suite, store_fetch(&feed.id, &past, Some(&second), hours(3))).unwrap();
    assert_eq!(version(suite, &orchard).await, 3);
    let older = issued(1, 30.0);
    call!(suite, store_fetch(&feed.id, &past, Some(&older), hours(4))).unwrap();
    assert_eq!(version(suite, &orchard).await, 3, "an older issue does not take over");
    let weather = call!(suite, site_weather(site_id, hours(1), hours(9))).unwrap();
    assert_eq!(weather.forecast, Some(second));
    assert_eq!(weather.site.version, 3);
    let ids: Vec<_> = weather.sources.iter().map(|(source, _)| source.id.as_str()).collect();
    assert_eq!(ids, [orchard.station.id.as_str(), feed.id.as_str()]);
    assert_eq!(weather.sources[0].1, []);
    assert_eq!(weather.sources[1].1, past[1..]);
    assert!(call!(suite, site_weather("none", hours(0), hours(1))).is_err());
}

pub async fn cells(suite: &Suite) {
    let (one, other) = (Orchard::planted(suite, 0).await, Orchard::planted(suite, 0).await);
    let cell = rows::id("cell");
    let feeds = [rows::feed(&one.site.id, &cell), rows::feed(&other.site.id, &cell)];
    for feed in &feeds {
        call!(suite, add_source(feed)).unwrap();
    }
    let forecast = Forecast { issued_at: hours(3), hours: vec![Reading::instant(hours(4), 12.5)] };
    let air = [Air { wind_m_s: Some(2.0), ..Air::at(hours(1)) }];
    let brought = |feed| store::Brought {
        readings: rows::readings(0, 3),
        forecast: Some(forecast.clone()),
        members: Some(store::Members { issued_at: hours(3), hours: vec![forecast.hours.clone()] }),
        air: &air,
        ..store::Brought::of(feed)
    };
    let mut both: Vec<store::Brought<'_>> = feeds.iter().map(|feed| brought(feed.id.as_str())).collect();
    assert_eq!(call!(suite, store_cell(&both, hours(3))).unwrap(), upload(6, 0, 0));
    for (orchard, feed) in [(&one, &feeds[0]), (&other, &feeds[1])] {
        let site = orchard.site.id.as_str();
        assert_eq!(version(suite, orchard).await, 2, "raised once");
        assert_eq!(call!(suite, latest_forecast(site)).unwrap(), Some((feed.id.clone(), forecast.clone())));
        assert!(call!(suite, latest_members(site)).unwrap().is_some());
        assert_eq!(call!(suite, air(site, hours(0), hours(3))).unwrap()[0].1, air);
    }
    assert_eq!(call!(suite, store_cell(&both, hours(4))).unwrap(), upload(0, 6, 0));
    assert_eq!(version(suite, &one).await, 2, "the same again raises nothing");
    both[0].readings = rows::readings(3, 5);
    both[1].source_id = "none";
    assert!(call!(suite, store_cell(&both, hours(5))).is_err());
    assert_eq!(version(suite, &one).await, 2, "all or nothing");
}

pub async fn states(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    call!(suite, store_readings(&orchard.station.id, &rows::readings(0, 6), hours(9))).unwrap();
    let states = call!(suite, source_states(&orchard.site.id)).unwrap();
    assert_eq!(states.len(), 1);
    assert_eq!((states[0].last_at, states[0].received_at), (Some(hours(5)), Some(hours(9))));
    let silent = rows::station(&orchard.site.id);
    call!(suite, add_source(&Source { name: "Old mast".into(), trust: 2, ..silent })).unwrap();
    let states = call!(suite, source_states(&orchard.site.id)).unwrap();
    assert_eq!(states[1].last_at, None);
}

pub async fn archive(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let feed = rows::feed(&orchard.site.id, &rows::id("cell"));
    call!(suite, add_source(&feed)).unwrap();
    let ahead = |at: i64, celsius: f64| -> Vec<Reading> {
        (at + 1..at + 5).map(|hour| Reading::instant(hours(hour), celsius + hour as f64 / 100.0)).collect()
    };
    for issue in 0..5 {
        let forecast = Forecast { issued_at: hours(issue), hours: ahead(issue, 12.0 + issue as f64) };
        call!(suite, store_fetch(&feed.id, &[], Some(&forecast), hours(issue).plus(60))).unwrap();
    }
    let first = call!(suite, issues(&feed.id, hours(1), hours(4), None, 2)).unwrap();
    let at =
        |issues: &[store::Issue]| issues.iter().map(|issue| issue.forecast.issued_at).collect::<Vec<_>>();
    assert_eq!(at(&first), [hours(1), hours(2)]);
    assert_eq!(first[0].forecast.hours, ahead(1, 13.0));
    let after = Some((first[1].forecast.issued_at, first[1].fetched_at));
    let rest = call!(suite, issues(&feed.id, hours(1), hours(4), after, 5)).unwrap();
    assert_eq!(at(&rest), [hours(3), hours(4)], "each once, none lost");
    assert_eq!(call!(suite, issues("none", hours(1), hours(4), None, 2)).unwrap(), []);

    let every = async |every: i64| {
        let kept = call!(suite, forecasts_every(&feed.id, hours(1), hours(4), every)).unwrap();
        kept.iter().map(|forecast| forecast.issued_at).collect::<Vec<_>>()
    };
    assert_eq!(every(3_600).await, [hours(1), hours(2), hours(3), hours(4)]);
    let begins: std::collections::BTreeSet<i64> =
        (1..=4).map(|hour| hours(hour).0.div_euclid(10_800)).collect();
    assert_eq!(every(10_800).await.len(), begins.len(), "of each three hours the first");
    // Of two that came for one issue the first counts.
    let again = Forecast { issued_at: hours(2), hours: ahead(2, 1.0) };
    call!(suite, store_fetch(&feed.id, &[], Some(&again), hours(2).plus(120))).unwrap();
    let kept = call!(suite, forecasts_every(&feed.id, hours(2), hours(2), 3_600)).unwrap();
    assert_eq!(kept.iter().map(|one| one.hours.clone()).collect::<Vec<_>>(), [ahead(2, 14.0)]);

    assert_eq!(call!(suite, latest_members(&orchard.site.id)).unwrap(), None);
    let members =
        |at: i64| store::Members { issued_at: hours(at), hours: vec![ahead(at, 9.0), ahead(at, 11.0)] };
    for at in [6, 12] {
        call!(suite, store_members(&feed.id, &members(at), hours(at))).unwrap();
    }
    let held = call!(suite, latest_members(&orchard.site.id)).unwrap();
    assert_eq!(held, Some((feed.id.clone(), members(12))));
    assert!(call!(suite, store_members("none", &members(1), hours(1))).is_err());
}

pub async fn files(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let source = orchard.station.id.as_str();
    assert_eq!(call!(suite, taken_files(source)).unwrap(), []);
    let file = |name: &str, size, fault: Option<&str>| store::TakenFile {
        source_id: source.to_owned(),
        name: name.to_owned(),
        size,
        modified_at: hours(1),
        seen_at: hours(1),
        taken_at: fault.is_none().then(|| hours(2)),
        stored: size / 10,
        content: fault.is_none().then(|| "5eab".repeat(16)),
        fault: fault.map(str::to_owned),
    };
    for file in
        [file("b.csv", 100, None), file("a.csv", 70, Some("no column `temp`")), file("b.csv", 200, None)]
    {
        call!(suite, note_taken_file(&file)).unwrap();
    }
    let held = call!(suite, taken_files(source)).unwrap();
    assert_eq!(held, [file("a.csv", 70, Some("no column `temp`")), file("b.csv", 200, None)]);
    let mapped = call!(suite, source(source)).unwrap().unwrap();
    call!(suite, set_mapping(&mapped, &json!({"unit": "celsius"}))).unwrap();
    let held = call!(suite, taken_files(source)).unwrap();
    assert!(held.iter().all(|file| file.taken_at.is_none()), "all are read again");
    let nobodys = store::TakenFile { source_id: "none".into(), ..file("c.csv", 1, None) };
    assert!(call!(suite, note_taken_file(&nobodys)).is_err());
}

pub async fn air(suite: &Suite) {
    let orchard = Orchard::planted(suite, 0).await;
    let feed = rows::feed(&orchard.site.id, &rows::id("cell"));
    call!(suite, add_source(&feed)).unwrap();
    let windy = Air { wind_m_s: Some(3.5), rain_mm: Some(0.2), ..Air::at(hours(1)) };
    let damp = Air { humidity_percent: Some(91.0), dew_point_c: Some(-0.0), ..Air::at(hours(2)) };
    let still = Air::at(hours(3));
    assert_eq!(call!(suite, store_air(&feed.id, &[windy, damp, still], hours(3))).unwrap(), 2);
    let later = Air { gust_m_s: Some(9.25), rain_mm: Some(0.4), ..Air::at(hours(1)) };
    assert_eq!(call!(suite, store_air(&feed.id, &[later], hours(4))).unwrap(), 1);
    let held = call!(suite, air(&orchard.site.id, hours(1), hours(2))).unwrap();
    let both = Air { wind_m_s: Some(3.5), ..later };
    assert_eq!(held, [(feed.id.clone(), vec![both, Air { dew_point_c: Some(0.0), ..damp }])]);
    assert_eq!(call!(suite, air(&orchard.site.id, hours(5), hours(9))).unwrap(), []);
    assert!(call!(suite, store_air("none", &[windy], hours(3))).is_err());
}
