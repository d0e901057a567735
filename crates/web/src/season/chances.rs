//! When the start and each mark will be, with the odds, and the chance by an hour that
//! is asked for.

use api::SeasonSeen;
use charts::dots::{self, Dots};
use chrono::NaiveDateTime;
use chrono_tz::Tz;
use model::odds::{Odds, SeasonOdds};
use model::sun::Sun;
use model::time::{HOUR, Instant};
use serde::Deserialize;

use crate::said;
use crate::words::Words;

/// As a browser writes a day with its hour.
const AS_TYPED: &str = "%Y-%m-%dT%H:%M";

/// What the small form sends.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct Asked {
    by: String,
}

/// The odds of one moment.
pub(crate) struct Chance {
    pub(crate) head: String,
    pub(crate) said: Vec<String>,
    /// Twenty dots, for a narrow screen; of the first moment alone.
    pub(crate) dots: Option<String>,
    /// The chance by the hour that was asked for.
    pub(crate) by: Option<String>,
}

/// The form.
pub(crate) struct By {
    /// What stands in it, as a browser writes it.
    pub(crate) value: String,
    /// What was wrong with what was typed.
    pub(crate) wrong: Option<String>,
}

/// Each moment with its odds, and the form; no form where there are no odds.
pub(super) fn of(
    odds: &SeasonOdds,
    seen: &SeasonSeen,
    asked: &Asked,
    now: Instant,
    words: &Words,
) -> (Vec<Chance>, Option<By>) {
    let zone = seen.plan.zone;
    let typed = asked.by.trim();
    let by = NaiveDateTime::parse_from_str(typed, AS_TYPED).ok().map(|wall| Instant::on_wall(wall, zone));
    let legs = odds.legs.iter().map(|leg| {
        let mark = said::style(leg.mark);
        let key = if leg.after_unlogged { "season.leg_after" } else { "season.leg" };
        (words.fill(key, &[("n", &leg.number), ("mark", &mark)]), &leg.odds)
    });
    let start = odds.start.iter().map(|odds| (words.get("season.start").to_owned(), odds));
    let chances: Vec<Chance> = start
        .chain(legs)
        .enumerate()
        .map(|(n, (head, odds))| {
            let weighs = odds.weighs.as_ref().map(|weighs| weighs.told().trim().to_owned());
            Chance {
                said: std::iter::once(odds.told(zone)).chain(weighs).collect(),
                dots: (n == 0).then(|| {
                    let sun = Some(Sun::at(seen.site.latitude, seen.site.longitude));
                    let svg = dots::picture(&Dots { name: &head, odds, zone, now, sun });
                    svg.replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1)
                }),
                by: by.map(|by| chance(odds, by, zone, words)),
                head,
            }
        })
        .collect();
    let first = odds.start.as_ref().or(odds.legs.first().map(|leg| &leg.odds));
    let form = first.map(|odds| By {
        value: match typed {
            "" => field(odds.likely.unwrap_or(odds.horizon), zone),
            typed => typed.to_owned(),
        },
        wrong: (!typed.is_empty() && by.is_none())
            .then(|| words.fill("season.by_wrong", &[("typed", &typed)])),
    });
    (chances, form)
}

/// In how many cases of a hundred it has come by then.
fn chance(odds: &Odds, by: Instant, zone: Tz, words: &Words) -> String {
    let share = (odds.chance_by(by) * 100.0).round();
    let said = words.fill("season.chance", &[("when", &by.spoken(zone)), ("n", &share)]);
    if by <= odds.horizon {
        return said;
    }
    format!("{said} {}", words.fill("season.chance_beyond", &[("when", &odds.horizon.spoken(zone))]))
}

/// A moment as the field for one has it, at the nearest whole hour.
fn field(at: Instant, zone: Tz) -> String {
    let hour = Instant((at.0 + HOUR / 2).div_euclid(HOUR) * HOUR);
    hour.utc().with_timezone(&zone).format(AS_TYPED).to_string()
}
