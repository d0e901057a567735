//! Frost that is foretold.

use serde::{Deserialize, Serialize};

use super::stretch::{first_below, lowest, within};
use super::{SAME_K, line_c};
use crate::growth::Course;
use crate::odds::{CHANCE, Cold};
use crate::series::Law;
use crate::stage::Stage;
use crate::time::Instant;

/// Margin above the 10 % line at which a forecast counts as frost, K (common
/// practice, no source).
pub const COLD_MARGIN_C: f64 = 1.5;

/// What the hours ahead say of frost. No forecast is not "no frost".
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "frost")]
pub enum Ahead {
    /// The forecast leaves hours out, and what it has is above the line.
    NoForecast,
    /// Every hour is foretold, none at or below line and margin.
    None,
    /// Some hour is at or below line and margin.
    Cold {
        /// First moment at or below it.
        at: Instant,
        /// Lowest temperature foretold, °C.
        lowest_c: f64,
        /// When that is first reached.
        lowest_at: Instant,
        /// The 10 % line without the margin, °C.
        line_c: f64,
        /// Share of an ensemble's members that come so cold; none without an ensemble.
        #[serde(default)]
        chance: Option<f64>,
    },
}

impl Ahead {
    /// The same with what the members of an ensemble say: from one in ten on
    /// ([`CHANCE`]) frost counts as forecast, also where the single forecast stays above
    /// the line. What that one says of hour and depth then holds before what they say.
    #[must_use]
    pub fn by_members(self, line_c: f64, members: Option<Cold>) -> Ahead {
        let Some(members) = members else { return self };
        match (self, members.from) {
            (Ahead::Cold { at, lowest_c, lowest_at, line_c, .. }, _) => {
                Ahead::Cold { at, lowest_c, lowest_at, line_c, chance: Some(members.chance) }
            }
            (_, Some(at)) if members.chance >= CHANCE => Ahead::Cold {
                at,
                lowest_c: members.tenth_c,
                lowest_at: members.tenth_at,
                line_c,
                chance: Some(members.chance),
            },
            (other, _) => other,
        }
    }

    /// How likely frost is, in words, where members tell.
    pub fn chance_told(&self) -> Option<String> {
        let Ahead::Cold { chance: Some(chance), .. } = self else { return None };
        Some(format!("{:.0} % of the forecast's members come so cold.", chance * 100.0))
    }
}

/// The line that a stage's cold is held against, °C, with [`COLD_MARGIN_C`] still to be
/// added. Where no stage is known the line of open flowers, 28 °F, stands in: no stage
/// has a warmer one (constructed, on the cautious side).
pub fn kill_line(stage: Option<Stage>) -> f64 {
    line_c(stage.unwrap_or(Stage::FullBloom).kill_10_c(), false)
}

/// Looks for cold from one moment to another, as a rule from now on: any moment
/// at or below the stage's 10 % line (rounded to a tenth, as [`line_c`] has it)
/// plus `margin_c`, as [`kill_line`] has it.
pub fn cold_ahead(
    course: &Course,
    stage: Option<Stage>,
    from: Instant,
    until: Instant,
    margin_c: f64,
) -> Ahead {
    let spans = within(&course.series().spans, from, until);
    let line = kill_line(stage);
    let cold = line + margin_c;
    if let Some((lowest_at, lowest_c)) = lowest(spans.iter(), from, until)
        && lowest_c <= cold + SAME_K
    {
        // Rounding up to the second must not pass the lowest point itself.
        let at = first_below(spans.iter(), from, until, cold).map_or(lowest_at, |at| at.min(lowest_at));
        return Ahead::Cold { at, lowest_c, lowest_at, line_c: line, chance: None };
    }
    let known = spans.iter().all(|span| matches!(span.law, Law::Line(..)));
    let begins = spans.first().is_some_and(|first| first.from <= from.0);
    let reaches = spans.last().is_some_and(|last| last.to >= until.0);
    if known && begins && reaches { Ahead::None } else { Ahead::NoForecast }
}
