//! The picture of a season with the odds of what is still to come.

use anyhow::Result;
use charts::season::{SeasonPicture, picture, table};
use model::field_log::FieldLog;
use model::growth::Growth;
use model::odds::{Odds, SeasonOdds};
use model::plan::Plan;
use model::season::Season;
use model::series::{Forecast, Reading};
use model::time::{DAY, Instant};

use crate::checked::{at, count, odds, sound, texts};
use crate::spring::{self, NORTH_BENCH};

/// A season under way with a forecast of the last days over again.
struct Case {
    plan: Plan,
    log: FieldLog,
    growth: Growth,
    season: Season,
    odds: SeasonOdds,
    now: Instant,
}

impl Case {
    fn at(now: &str) -> Result<Case> {
        let now = at(now);
        let readings = spring::readings("EWR")?;
        let repeated = readings.iter().filter(|reading| reading.at <= now && reading.at > now.plus(-6 * DAY));
        let hours = repeated.map(|reading| Reading { at: reading.at.plus(6 * DAY), ..*reading }).collect();
        let forecast = Forecast { issued_at: now, hours };
        let (plan, log) = (spring::plan(&NORTH_BENCH)?, spring::log("ammonium-thiosulfate")?);
        let growth = spring::growth("reference", &readings, Some(&forecast), now)?;
        let season = spring::season(&plan, &log, &growth, now);
        let odds = spring::odds((&plan, &log, &season), &growth, &forecast, now)?;
        Ok(Case { plan, log, growth, season, odds, now })
    }

    fn bare(&self) -> SeasonPicture<'_> {
        SeasonPicture::new(&self.plan, &self.log, &self.growth, &self.season, self.now)
    }

    fn shown(&self) -> SeasonPicture<'_> {
        self.bare().with_odds(&self.log, &self.growth, &self.odds)
    }

    /// The same with other odds of the running leg.
    fn other(&self, leg: Odds) -> SeasonOdds {
        let mut other = self.odds.clone();
        other.legs[0].odds = leg;
        other
    }
}

const UNDER_WAY: &str = "2013-04-30T06:00:00-04:00";

#[test]
fn the_fan_of_the_running_leg_is_told_in_frequencies() -> Result<()> {
    let case = Case::at(UNDER_WAY)?;
    let (bare, svg) = (picture(&case.bare()), picture(&case.shown()));
    sound(&svg);
    // Three steps and the middle half.
    assert_eq!(count(&svg, "polygon") - count(&bare, "polygon"), 4);
    let said = texts(&svg);
    for words in ["fan: in 8 of 10 cases like this", "darker part: 5 of 10", "last reading"] {
        assert!(said.iter().any(|text| text == words), "{words} is missing in {said:#?}");
    }
    assert!(said[1].contains("Mark of leg 1: in 8 of 10 cases like this between "), "{}", said[1]);
    assert_eq!(svg, picture(&case.shown()));
    Ok(())
}

#[test]
fn the_table_has_early_likely_and_late_as_exact_as_they_are_known() -> Result<()> {
    let case = Case::at(UNDER_WAY)?;
    let rows = table(&case.shown());
    let row = |what: &str| rows.iter().find(|row| row[1] == what).cloned().unwrap_or_default();
    let leg = &case.odds.legs[0].odds;
    assert_eq!(
        row("Leg 1: mark, likely (even odds)"),
        [
            leg.likely_told(case.plan.zone).unwrap(),
            "Leg 1: mark, likely (even odds)".to_owned(),
            "60 % of the style".to_owned()
        ]
    );
    assert_eq!(
        row("Leg 2: mark, late (1 in 10)")[2],
        "60 % of the style, if the spray before goes on at its mark"
    );
    assert_eq!(rows.len(), table(&case.bare()).len() + 6);
    Ok(())
}

#[test]
fn a_late_edge_widens_the_picture_by_seven_days_at_most() -> Result<()> {
    let case = Case::at(UNDER_WAY)?;
    let to = |leg: Odds| case.bare().with_odds(&case.log, &case.growth, &case.other(leg)).to;
    let soon = to(odds(case.now, 6.0, 0.2, 0));
    assert_eq!(soon, case.bare().to, "an edge that is seen already widens nothing");
    let later = odds(case.now, 30.0, 4.0, 0);
    let shown = to(later.clone());
    assert!(shown > later.late.unwrap() && shown.since(later.late.unwrap()) <= DAY);
    let last = at("2013-05-07T00:00:00-04:00");
    assert_eq!(to(odds(case.now, 30.0, 40.0, 0)), last);
    assert_eq!(to(odds(case.now, 30.0, 4.0, 3)), last);
    Ok(())
}

#[test]
fn odds_of_any_shape_stay_on_the_picture() -> Result<()> {
    let case = Case::at(UNDER_WAY)?;
    for (first, apart, never) in [
        (6.0, 0.0, 0),
        (-30.0, 4.0, 0),
        (30.0, 40.0, 0),
        (300.0, 1.0, 0),
        (10.0, 4.0, 4),
        (10.0, 9.0, 15),
        (0.0, 1.0, 20),
    ] {
        let other = case.other(odds(case.now, first, apart, never));
        let shown = case.bare().with_odds(&case.log, &case.growth, &other);
        sound(&picture(&shown));
    }
    let mut none = case.other(odds(case.now, 6.0, 1.0, 0));
    none.legs[0].odds.dots.clear();
    sound(&picture(&case.bare().with_odds(&case.log, &case.growth, &none)));
    let nothing = SeasonOdds { legs: Vec::new(), ..none };
    let shown = case.bare().with_odds(&case.log, &case.growth, &nothing);
    assert_eq!(picture(&shown), picture(&case.bare()));
    assert_eq!(table(&shown), table(&case.bare()));
    Ok(())
}

#[test]
fn odds_of_the_start_are_told_before_the_clock_runs() -> Result<()> {
    let case = Case::at("2013-04-28T06:00:00-04:00")?;
    let shown = case.shown();
    let svg = picture(&shown);
    sound(&svg);
    assert!(texts(&svg)[1].contains("Start: in 8 of 10 cases like this between "), "{}", texts(&svg)[1]);
    assert!(table(&shown).iter().any(|row| row[1] == "Start, early (1 in 10)"));
    assert!(texts(&svg).iter().any(|text| text == "start, in 8 of 10 cases like this"));
    for (first, apart, never) in [(3.0, 0.1, 0), (-30.0, 9.0, 5), (400.0, 1.0, 0), (10.0, 3.0, 20)] {
        let start = Some(odds(case.now, first, apart, never));
        let other = SeasonOdds { start, ..case.odds.clone() };
        sound(&picture(&case.bare().with_odds(&case.log, &case.growth, &other)));
    }
    Ok(())
}
