use super::*;

fn whats(reasons: &[Reason]) -> Vec<What> {
    reasons.iter().map(|reason| reason.what).collect()
}

/// The judgement of the hour that begins `n` hours after noon.
fn judged(answer: &Answer, n: i64) -> &HourStand {
    answer.hours.iter().find(|stand| stand.from == hour(n)).unwrap()
}

#[test]
fn with_nothing_set_nothing_is_called_practical() {
    let (hours, none) = (Weather::calm(15.0).hours(), Limits::default());
    let answer = find(&ask(&hours, &none, wanted(MarkBound::NotBefore, hour(3))));
    assert_eq!((answer.outcome, answer.slot), (Outcome::NoLimits, None));
    assert!(answer.hours.iter().all(|hour| hour.stand != Stand::Practical));
    let told = answer.told(ZONE).join(" ");
    assert!(told.contains("no limits set") && !told.contains("practical"), "{told}");
}

#[test]
fn a_not_before_mark_takes_the_first_slot_after_it() {
    let hours = Weather::calm(15.0).but(0, 8, |air| air.wind_m_s = Some(6.2)).hours();
    let limits = limits(&[("wind", 4.5)]);
    let mut wanted = wanted(MarkBound::NotBefore, hour(3).plus(600));
    wanted.early = Some(hour(-2));
    wanted.late = Some(hour(10));
    let answer = find(&ask(&hours, &limits, wanted));
    let slot = answer.slot.unwrap();
    assert_eq!((answer.outcome, slot.begin, slot.end), (Outcome::Named, hour(8), hour(82)));
    let edges: Vec<(Edge, Instant)> =
        answer.edges.iter().map(|edge| (edge.edge, edge.slot.unwrap().begin)).collect();
    assert_eq!(edges, [(Edge::Early, hour(8)), (Edge::Likely, hour(8)), (Edge::Late, hour(10))]);
    let first = judged(&answer, 0);
    assert_eq!(whats(&first.against), [What::Wind, What::Mark]);
    assert_eq!(first.against[0].told(ZONE), "wind 6.2 m/s, limit 4.5 m/s (for tests)");
    assert_eq!(whats(&judged(&answer, 3).against), [What::Wind], "the mark falls into this hour");
    assert!(judged(&answer, 9).beside.contains(&Beside::MarkMayBeLater));
    assert!(!judged(&answer, 10).beside.contains(&Beside::MarkMayBeLater));
}

#[test]
fn a_slot_begins_at_the_mark_within_an_hour() {
    let (hours, limits) = (Weather::calm(15.0).hours(), limits(&[("wind", 4.5)]));
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, hour(3).plus(600))));
    assert_eq!(answer.slot.unwrap().begin, hour(3).plus(600));
    let least = answer.slot.unwrap().least.unwrap();
    assert_eq!((least.what, least.figure, least.limit), (What::Wind, 2.0, 4.5));
    assert!((least.errors - 2.5 / 1.5).abs() < 1e-12);
}

#[test]
fn a_not_after_mark_takes_the_last_slot_ahead_of_it() {
    let hours = Weather::calm(15.0)
        .but(4, 6, |air| air.gust_m_s = Some(11.0))
        .but(20, 31, |air| air.gust_m_s = Some(12.0))
        .hours();
    let limits = limits(&[("gust", 8.0)]);
    let mut wanted = wanted(MarkBound::NotAfter, hour(30));
    (wanted.early, wanted.late) = (Some(hour(5)), Some(hour(40)));
    let answer = find(&ask(&hours, &limits, wanted));
    let span = |slot: Slot| (slot.begin, slot.end);
    assert_eq!(span(answer.slot.unwrap()), (hour(6), hour(20)));
    assert_eq!(span(answer.edges[0].slot.unwrap()), (noon(), hour(4)), "early");
    assert_eq!(span(answer.edges[2].slot.unwrap()), (hour(31), hour(40)), "late");
    assert!(judged(&answer, 6).beside.contains(&Beside::MarkMayHavePassed));
    assert_eq!(whats(&judged(&answer, 33).against), [What::Mark]);
    // Longer work than what lies between the gusts needs the stretch before.
    let long = Ask { needed: 15 * HOUR, ..ask(&hours, &limits, wanted) };
    let answer = find(&long);
    assert_eq!((answer.outcome, answer.slot), (Outcome::TooShort, None));
    assert_eq!(span(answer.beyond.unwrap()), (hour(31), hour(96)));
    assert!(answer.told(ZONE)[0].contains("the longest stretch within the limits 14.0 h"));
}

#[test]
fn a_not_after_mark_that_has_passed_leaves_the_next_slot() {
    let hours = Weather::calm(15.0).but(0, 2, |air| air.wind_m_s = Some(9.0)).hours();
    let limits = limits(&[("wind", 4.5)]);
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotAfter, hour(-3))));
    assert_eq!(answer.slot.unwrap().begin, hour(2));
    assert!(answer.hours.iter().all(|hour| !whats(&hour.against).contains(&What::Mark)));
}

#[test]
fn what_nobody_tells_is_not_known_and_never_practical() {
    let hours = Weather::calm(15.0).but(-24, 96, |air| air.wind_m_s = None).hours();
    let limits = limits(&[("wind", 4.5), ("gust", 8.0)]);
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())));
    assert_eq!((answer.outcome, answer.slot), (Outcome::NotKnown, None));
    assert!(answer.hours.iter().all(|hour| hour.stand == Stand::NotKnown));
    assert!(answer.hours[0].told(ZONE).contains("wind not known, limit 4.5 m/s (for tests)"));
    assert!(answer.told(ZONE)[0].contains("it is not known: wind"), "{}", answer.told(ZONE)[0]);
}

#[test]
fn slots_that_never_come_say_what_is_most_in_the_way() {
    let hours = Weather::calm(15.0)
        .but(-24, 96, |air| air.wind_m_s = Some(7.0))
        .but(10, 20, |air| air.gust_m_s = Some(12.0))
        .hours();
    let limits = limits(&[("wind", 4.5), ("gust", 8.0)]);
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())));
    assert_eq!((answer.outcome, answer.slot), (Outcome::Never, None));
    assert_eq!(answer.in_the_way[0], Way { what: What::Wind, hours: 72, alone: 62 });
    assert_eq!(answer.in_the_way[1], Way { what: What::Gust, hours: 10, alone: 0 });
    let told = &answer.told(ZONE)[0];
    assert!(told.contains("Most in the way: wind, in 72 hours, in 62 of them alone."), "{told}");
}

#[test]
fn rain_before_and_after_closes_the_hours_around_it() {
    let hours = Weather::calm(15.0).but(20, 21, |air| air.rain_mm = Some(0.4)).hours();
    let limits = limits(&[("rain-free-after", 6.0), ("rain-free-before", 2.0)]);
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())));
    let against = |n: i64| whats(&judged(&answer, n).against);
    assert!(against(12).is_empty() && against(13).is_empty());
    assert_eq!(against(14), [What::RainFreeAfter], "the sixth hour after it is wet");
    assert_eq!(against(20), [What::RainFreeBefore, What::RainFreeAfter]);
    assert_eq!(against(22), [What::RainFreeBefore]);
    assert!(against(23).is_empty());
    assert!(
        judged(&answer, 14).against[0]
            .told(ZONE)
            .starts_with("rain 0.4 mm in the hour from Thu 2 May, 08:00")
    );
    // Where the forecast ends, whether it stays dry is not known.
    let late = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, hour(60))));
    assert_eq!(judged(&late, 89).stand, Stand::Practical);
    assert_eq!(judged(&late, 90).stand, Stand::NotKnown);
    assert_eq!(judged(&late, 90).not_known[0].at, Some(hour(96)));
}

#[test]
fn heat_cold_humidity_and_dew_each_speak_with_their_figure() {
    let hours = Weather::calm(31.0)
        .but(-24, 96, |air| (air.humidity_percent, air.dew_point_c) = (None, Some(29.5)))
        .hours();
    let table = json!({"limit": [
        {"what": "warmest", "at": 85, "unit": "fahrenheit", "source": "s", "status": "own"},
        {"what": "coldest", "at": 32, "source": "s", "status": "own"},
        {"what": "humidity", "at": 85, "source": "s", "status": "own"},
        {"what": "dew-point-spread", "at": 2, "source": "s", "status": "own"},
        {"what": "dew-free-after", "at": 4, "spread": 1.6, "source": "s", "status": "own"},
    ]});
    let limits = Limits::read(&table).unwrap();
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())));
    let told: Vec<String> = answer.hours[0].against.iter().map(|reason| reason.told(ZONE)).collect();
    assert_eq!(told[0], "air 31.0 °C, limit 29.4 °C (s)");
    assert_eq!(told[1], "air 31.0 °C, limit 32 °C (s)");
    assert_eq!(told[2], "humidity 92 %, limit 85 % (s)");
    assert_eq!(told[3], "air 1.5 K over its dew point, limit 2 K (s)");
    assert!(
        told[4].starts_with("air 1.5 K over its dew point in the hour from Wed 1 May, 13:00"),
        "{}",
        told[4]
    );
    // 85 °F itself is not above it.
    let hot = Weather::calm((85.0 - 32.0) * 5.0 / 9.0).hours();
    let warmest = shipped();
    let answer = find(&ask(&hot, &warmest, wanted(MarkBound::NotBefore, noon())));
    assert_eq!(answer.outcome, Outcome::Named);
}

#[test]
fn frost_read_and_foretold_keeps_its_hours_away() {
    let hours = Weather::calm(15.0).hours();
    let limits = limits(&[("frost-free-before", 24.0), ("frost-free-after", 12.0)]);
    let frosts = [hour(-10)];
    let answer = find(&Ask { frosts: &frosts, ..ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())) });
    assert_eq!(answer.slot.unwrap().begin, hour(15), "the first whole hour a day after it");
    assert_eq!(whats(&answer.hours[0].against), [What::FrostFreeBefore]);
    // Within 1.5 K of the line counts as frost ahead.
    let cold = Weather::calm(-0.8).hours();
    let answer = find(&ask(&cold, &limits, wanted(MarkBound::NotBefore, noon())));
    assert_eq!((answer.outcome, answer.slot), (Outcome::Never, None));
    let mild = Weather::calm(-0.6).hours();
    assert_eq!(find(&ask(&mild, &limits, wanted(MarkBound::NotBefore, noon()))).slot.unwrap().begin, noon());
}

#[test]
fn re_entry_and_interval_of_the_last_spray_hold() {
    let hours = Weather::calm(15.0).hours();
    let limits = limits(&[("interval", 30.0)]);
    let spray = LastSpray { finished_at: hour(-20), reentry_until: Some(hour(3).plus(1_800)) };
    let asked = Ask { last_spray: Some(spray), ..ask(&hours, &limits, wanted(MarkBound::NotBefore, noon())) };
    let answer = find(&asked);
    assert_eq!(answer.slot.unwrap().begin, hour(10));
    assert_eq!(whats(&judged(&answer, 3).against), [What::Interval, What::Reentry]);
    assert_eq!(whats(&judged(&answer, 4).against), [What::Interval]);
    let told = judged(&answer, 3).against[1].told(ZONE);
    assert_eq!(told, "re-entry of the last spray lasts until Wed 1 May, 15:30");
    let unrecorded = Some(LastSpray { reentry_until: None, ..spray });
    let answer = find(&Ask { last_spray: unrecorded, ..asked });
    assert!(answer.told(ZONE).iter().any(|said| said.contains("No re-entry time is recorded")));
}

#[test]
fn without_a_time_or_a_forecast_none_is_made_up() {
    let (hours, limits) = (Weather::calm(15.0).hours(), limits(&[("wind", 4.5)]));
    let mut unknown = wanted(MarkBound::NotBefore, noon());
    unknown.likely = None;
    let answer = find(&ask(&hours, &limits, unknown));
    assert_eq!((answer.outcome, answer.slot, answer.searched), (Outcome::NoTime, None, None));
    assert!(answer.told(ZONE)[0].contains("not known yet"));
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotBefore, hour(200))));
    assert_eq!((answer.outcome, answer.slot), (Outcome::NoWeather, None));
    let empty = Hours::default();
    let answer = find(&ask(&empty, &limits, wanted(MarkBound::NotAfter, hour(20))));
    assert_eq!(answer.outcome, Outcome::NoWeather);
}

#[test]
fn a_named_slot_that_closes_says_why() {
    let limits = limits(&[("wind", 4.5), ("rain-free-after", 4.0)]);
    let calm = Weather::calm(15.0).hours();
    let wanted = wanted(MarkBound::NotAfter, hour(20));
    let asked = ask(&calm, &limits, wanted);
    let named = Slot { begin: hour(10), end: hour(16), ..find(&asked).slot.unwrap() };
    assert_eq!(slot_lost(&asked, &named), Kept::Holds);
    let windy = Weather::calm(15.0).but(10, 16, |air| air.wind_m_s = Some(5.0)).hours();
    let kept = slot_lost(&Ask { hours: &windy, ..asked }, &named);
    assert!(kept.is_lost());
    let told = kept.told(&named, ZONE);
    assert!(told.contains("has closed: wind 5.0 m/s, limit 4.5 m/s"), "{told}");
    let partly = Weather::calm(15.0).but(13, 16, |air| air.wind_m_s = Some(5.0)).hours();
    let Kept::Shorter { left } = slot_lost(&Ask { hours: &partly, ..asked }, &named) else {
        panic!("three hours are left")
    };
    assert_eq!((left.begin, left.end), (hour(10), hour(13)));
    let kept = slot_lost(&Ask { hours: &partly, needed: 4 * HOUR, ..asked }, &named);
    assert!(kept.is_lost(), "three hours are too few");
    let silent = Weather::calm(15.0).but(10, 16, |air| air.wind_m_s = None).hours();
    let kept = slot_lost(&Ask { hours: &silent, ..asked }, &named);
    assert!(matches!(&kept, Kept::NotKnown { what } if what[0].what == What::Wind));
    assert_eq!(slot_lost(&Ask { now: hour(16), ..asked }, &named), Kept::Passed);
    let none = Limits::default();
    assert_eq!(slot_lost(&Ask { limits: &none, ..asked }, &named), Kept::NoLimits);
    // The mark has come nearer: what lies after it is of no use.
    let sooner = Wanted { likely: Some(hour(9)), ..wanted };
    let kept = slot_lost(&Ask { wanted: sooner, ..asked }, &named);
    assert!(matches!(&kept, Kept::Closed { why } if why[0].what == What::Mark), "{kept:?}");
}

#[test]
fn answers_can_be_kept_and_read_again() {
    let hours = Weather::calm(15.0).but(4, 6, |air| air.wind_m_s = Some(9.0)).hours();
    let limits = limits(&[("wind", 4.5), ("bee-quiet", 0.0)]);
    let answer = find(&ask(&hours, &limits, wanted(MarkBound::NotAfter, hour(20))));
    let text = serde_json::to_string(&answer).unwrap();
    assert_eq!(serde_json::from_str::<Answer>(&text).unwrap(), answer);
}
