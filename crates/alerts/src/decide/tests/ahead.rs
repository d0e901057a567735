//! Odds in alerts, and slots that are named, near and lost.

use model::ahead::{Sky, slots};
use model::air::Air;
use model::odds::{Errors, Foretold, LegOdds, Line, Odds, Outlook, SeasonOdds, of};
use model::plan::MarkBound;
use model::slot::{Hours, Limits};
use model::sun::Sun;

use super::*;

/// A spring whose slots are held against wind.
fn windy_spring() -> Spring {
    let mut spring = Spring::new();
    let limits = json!({"limit": [{"what": "wind", "at": 4.5, "source": "our sprayer", "status": "own"}]});
    spring.plan.slot_limits = Arc::new(Limits::read(&limits).unwrap());
    spring
}

impl Spring {
    /// One pass with a forecast of steady air, and wind by the hour after the begin.
    fn pass_in_wind(&mut self, hours: i64, wind: impl Fn(i64) -> f64) -> Vec<String> {
        let now = BEGIN.plus(hours * HOUR);
        self.read = hours;
        let season = self.season(now);
        let hour = |n: i64| Reading::instant(BEGIN.plus(n * HOUR), 15.0);
        let readings: Vec<Reading> = (-24..=hours).map(hour).collect();
        let ahead: Vec<Reading> = (hours + 1..hours + 96).map(hour).collect();
        let forecast = Forecast { issued_at: now, hours: ahead.clone() };
        let course = Arc::new(Course::new(Series::join(&[readings], Some(&forecast), now)));
        let members = [ahead];
        let foretold = Foretold { issued_at: now, members: &members };
        let outlook = Outlook::new(&course, &foretold, &Errors::prior(), now).unwrap();
        let growth = Growth::new(course.clone(), self.plan.block.curve.clone());
        let tubes = outlook.on(&self.plan.block.curve);
        let log: Vec<Entry> = self.log.iter().map(|entry| Entry::read(entry, None).unwrap()).collect();
        let log = FieldLog::by_id(log).unwrap();
        let line = Line { growth: &growth, tubes: &tubes, weight: 1.0 };
        let odds = of(&self.plan, &log, &season, &outlook, &[line], now);
        let air = |n: i64| Air { wind_m_s: Some(wind(n)), ..Air::at(BEGIN.plus(n * HOUR)) };
        let air: Vec<Air> = (hours - 24..hours + 96).map(air).collect();
        let around = (now.plus(-DAY), now.plus(4 * DAY));
        let hours = Hours::of(course.series(), &[air], around.0, around.1);
        let sky = Sky { hours: &hours, sun: Sun::at(40.7, -74.2) };
        let slots = slots(&self.plan, &season, &odds, &sky, now);
        let ahead = Ahead { odds: &odds, slots: &slots, sky };
        let beside = Beside { ahead: Some(ahead), ..self.beside() };
        let decisions = decide(&season, &self.plan, &beside, &self.known, now);
        decisions.into_iter().map(|decision| self.write(decision, now)).collect()
    }

    /// One pass in which the odds of the running leg have another likely time than the
    /// single forecast.
    fn pass_with_likely(&mut self, hours: i64, likely: Instant) -> Vec<String> {
        let now = BEGIN.plus(hours * HOUR);
        self.read = hours;
        let season = self.season(now);
        let edge = |apart: i64| Some(likely.plus(apart * HOUR));
        let odds = Odds {
            early: edge(-2),
            likely: Some(likely),
            late: edge(3),
            never: 0.0,
            horizon: now.plus(4 * DAY),
            dots: vec![Some(likely); 20],
            ends: edge(-3).zip(edge(4)),
            draws: 1_000,
            weighs: None,
        };
        let leg = LegOdds { number: 1, mark: 0.6, bound: MarkBound::NotBefore, after_unlogged: false, odds };
        let odds = SeasonOdds {
            asked_at: now,
            issued_at: Some(now),
            start: None,
            legs: vec![leg],
            notes: Vec::new(),
        };
        let hours = Hours::of(&Series::default(), &[], now, now);
        let sky = Sky { hours: &hours, sun: Sun::at(40.7, -74.2) };
        let ahead = Ahead { odds: &odds, slots: &[], sky };
        let beside = Beside { ahead: Some(ahead), ..self.beside() };
        let decisions = decide(&season, &self.plan, &beside, &self.known, now);
        decisions.into_iter().map(|decision| self.write(decision, now)).collect()
    }

    fn about(&self, kind: &str) -> &Value {
        &self.known.iter().rev().find(|row| row.kind == kind).unwrap().about
    }
}

#[test]
fn a_heads_up_tells_odds_and_the_slot_with_what_it_rests_on() {
    let mut spring = windy_spring();
    let told = spring.pass_in_wind(10, |_| 2.0);
    assert_eq!(told, ["tell started - 1", "tell heads-up start 1"]);
    let about = spring.about("heads-up");
    // The curve of these tests grows alike at every temperature: nothing is in doubt.
    assert!(
        about["odds"].as_str().unwrap().starts_with("Early (1 in 10) Thu 2 May, 05:00; likely"),
        "{about}"
    );
    assert_eq!(about["likely"], "Thu 2 May, 05:00");
    let slot = about["slot_told"].as_str().unwrap();
    assert!(slot.contains("from its mark on") && slot.contains("our sprayer"), "{slot}");
    assert!(slot.contains("No limit is set for gusts"), "{slot}");
    assert!(about["slot"]["begin"].as_str().unwrap() >= "2013-05-02T04:48:00Z", "{about}");
}

#[test]
fn a_slot_that_was_named_and_has_closed_is_told_once() {
    let mut spring = windy_spring();
    spring.pass_in_wind(10, |_| 2.0);
    assert_eq!(spring.pass_in_wind(11, |_| 2.0), Vec::<String>::new());
    assert_eq!(spring.pass_in_wind(12, |_| 9.0), ["tell slot-lost start/1 1"]);
    let about = spring.about("slot-lost");
    assert!(about["lost"].as_str().unwrap().contains("wind"), "{about}");
    assert_eq!(about["slot"], Value::Null, "no other is there");
    assert_eq!(spring.pass_in_wind(13, |_| 9.0), Vec::<String>::new());
    // Part of it is left: nothing to be told.
    let mut spring = windy_spring();
    spring.pass_in_wind(10, |_| 2.0);
    assert_eq!(spring.pass_in_wind(11, |hour| if hour < 40 { 9.0 } else { 2.0 }), Vec::<String>::new());
}

#[test]
fn a_slot_in_a_mail_that_nobody_has_is_not_lost() {
    let mut spring = windy_spring();
    spring.pass_in_wind(10, |_| 2.0);
    spring.known.iter_mut().for_each(|row| row.mailed = false);
    let told = spring.pass_in_wind(12, |_| 9.0);
    assert!(!told.iter().any(|one| one.contains("slot-lost")), "{told:?}");
}

#[test]
fn flowers_are_to_be_looked_at_before_a_later_leg_s_slot() {
    let mut spring = windy_spring();
    // The second leg runs from hour 10, its mark is at 38.8. Calm from 06:00 on 2 May.
    let wind = |hour: i64| if hour < 31 { 9.0 } else { 2.0 };
    spring.pass_in_wind(9, wind);
    spring.spray("c-spray", 10);
    let told = spring.pass_in_wind(12, wind);
    assert!(!told.iter().any(|one| one.contains("bloom-check")), "the look is at 19:00: {told:?}");
    let told = spring.pass_in_wind(14, wind);
    assert!(told.contains(&"tell bloom-check c-spray 1".to_owned()), "{told:?}");
    assert_eq!(spring.about("bloom-check")["at"], "2013-05-02T06:00:00Z");
    assert_eq!(spring.about("bloom-check")["count_at"], "2013-05-01T19:00:00Z");
    let again = spring.pass_in_wind(15, wind);
    assert!(!again.iter().any(|one| one.contains("bloom-check")), "{again:?}");
}

#[test]
fn without_limits_no_slot_is_named() {
    let mut spring = Spring::new();
    spring.plan.slot_limits = Arc::default();
    spring.pass_in_wind(10, |_| 2.0);
    let about = spring.about("heads-up");
    assert_eq!(about["slot"], Value::Null);
    assert!(about["slot_told"].as_str().unwrap().contains("no limits set"), "{about}");
}

/// The single forecast has the mark at hour 28.8 all the time.
#[test]
fn a_time_moves_where_its_likely_time_does() {
    let mut spring = Spring::new();
    let likely = |hours: i64| BEGIN.plus(hours * HOUR);
    assert_eq!(spring.pass_with_likely(6, likely(32)), ["tell started - 1", "tell heads-up start 1"]);
    let about = spring.about("heads-up");
    assert_eq!(
        (&about["at"], &about["likely_at"]),
        (&json!("2013-05-02T04:48:00Z"), &json!("2013-05-02T08:00:00Z"))
    );
    assert_eq!(spring.pass_with_likely(7, likely(37)), Vec::<String>::new(), "five hours are not told");
    assert_eq!(spring.pass_with_likely(8, likely(39)), ["tell moved start/1 1"]);
    let about = spring.about("moved");
    assert_eq!(
        (&about["was"], &about["at"]),
        (&json!("2013-05-02T08:00:00Z"), &json!("2013-05-02T15:00:00Z"))
    );
    assert_eq!(spring.pass_with_likely(9, likely(39)), Vec::<String>::new());
}
