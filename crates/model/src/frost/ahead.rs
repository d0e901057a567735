//! Frost that is foretold.

use serde::{Deserialize, Serialize};

use super::stretch::{first_below, lowest, within};
use super::{SAME_K, line_c};
use crate::growth::Course;
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
    },
}

/// Looks for cold from one moment to another, as a rule from now on: any moment
/// at or below the stage's 10 % line (rounded to a tenth, as [`line_c`] has it)
/// plus `margin_c`. Where no stage is known the line of open flowers, 28 °F,
/// stands in: no stage has a warmer one (constructed, on the cautious side).
pub fn cold_ahead(
    course: &Course,
    stage: Option<Stage>,
    from: Instant,
    until: Instant,
    margin_c: f64,
) -> Ahead {
    let spans = within(&course.series().spans, from, until);
    let line = line_c(stage.unwrap_or(Stage::FullBloom).kill_10_c(), false);
    let cold = line + margin_c;
    if let Some((lowest_at, lowest_c)) = lowest(spans.iter(), from, until)
        && lowest_c <= cold + SAME_K
    {
        // Rounding up to the second must not pass the lowest point itself.
        let at = first_below(spans.iter(), from, until, cold).map_or(lowest_at, |at| at.min(lowest_at));
        return Ahead::Cold { at, lowest_c, lowest_at, line_c: line };
    }
    let known = spans.iter().all(|span| matches!(span.law, Law::Line(..)));
    let begins = spans.first().is_some_and(|first| first.from <= from.0);
    let reaches = spans.last().is_some_and(|last| last.to >= until.0);
    if known && begins && reaches { Ahead::None } else { Ahead::NoForecast }
}
