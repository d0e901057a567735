//! Flowers that came through, and what that means when a spray is late, in words.

use chrono_tz::Tz;

use crate::bloom::Flowers;
use crate::legs::Leg;
use crate::plan::{MarkBound, Plan};
use crate::season::{Season, State};
use crate::time::{HOUR, Instant};
use crate::verdict::Advice;
use crate::words;

/// How many flowers a tree came through, against the fruit wanted; none where
/// nothing is known of it.
pub fn told(flowers: Flowers, target: f64) -> Option<String> {
    let Flowers { low, likely, high } = flowers;
    let number = match (likely, high) {
        (Some(likely), Some(high)) if low.round() == high.round() => format!("{likely:.0}"),
        (Some(likely), Some(high)) => format!("{likely:.0} ({low:.0} to {high:.0})"),
        (Some(likely), None) => format!("{likely:.0} (at least {low:.0})"),
        (None, Some(high)) => format!("{low:.0} to {high:.0}"),
        (None, None) => format!("at least {low:.0}"),
    };
    Some(format!("{number} live flowers a tree have tubes at the foot of the style; {target:.0} are wanted."))
}

/// What to make of a mark that has passed without a spray: what is through, what a
/// spray now still stops, and what is left to do. Empty where no mark was missed.
pub fn what_now(season: &Season, plan: &Plan) -> Vec<String> {
    let Some(leg) =
        season.running().filter(|_| matches!(season.state, State::Due | State::Overrun | State::Hold))
    else {
        return Vec::new();
    };
    let Some(reached) = leg.reached_at else { return Vec::new() };
    let target = plan.block.target_fruit_per_tree;
    let mut said = vec![since(leg, season, reached, plan.zone)];
    if let Some(flowers) = season.flowers_through {
        said.extend(told(flowers, target));
        said.push(weighed(flowers, target));
    }
    said.push(match leg.bound {
        Some(MarkBound::NotAfter) => {
            "Every hour more lets flowers through that nobody wants: a spray stops those whose tubes are still on the \
             way, and none that are through."
                .to_owned()
        }
        _ => "A spray now stops the flowers whose tubes are still on the way; those that are through stay.".to_owned(),
    });
    match season.verdict.verdict {
        _ if season.state == State::Hold => {
            said.push("Look at the flowers first: frost came over this leg.".to_owned());
        }
        Advice::CountFirst | Advice::Wait | Advice::StandDown => {
            said.push(season.verdict.told());
        }
        _ => {}
    }
    if let Some(until) =
        season.reentry.as_ref().filter(|reentry| reentry.closed).and_then(|reentry| reentry.until)
    {
        said.push(words::nobody_before(&until.spoken(plan.zone)));
    }
    said.push(
        "What is too many in the end comes off later, by hand or by what your advisor names; count what set first."
            .to_owned(),
    );
    said
}

/// When the mark was reached, and how far the style has come by the last reading: what
/// grew since then nobody has read.
fn since(leg: &Leg, season: &Season, reached: Instant, zone: Tz) -> String {
    let (mark, progress) = (leg.mark.unwrap_or_default(), leg.progress_low);
    let at = reached.spoken(zone);
    let Some(as_of) = season.as_of.filter(|as_of| *as_of >= reached) else {
        return format!("Leg {} reached its mark of {mark:.2} {at}.", leg.number);
    };
    let before = match as_of.since(reached) / HOUR {
        0 => "less than an hour".to_owned(),
        1 => "an hour".to_owned(),
        hours => format!("{hours} hours"),
    };
    format!(
        "Leg {} reached its mark of {mark:.2} {at}, {before} before the last reading, {}; by then it stood at \
         {progress:.2} of the style.",
        leg.number,
        as_of.spoken(zone)
    )
}

/// Whether too few, enough or too many are through.
fn weighed(flowers: Flowers, target: f64) -> String {
    let most = flowers.high.or(flowers.likely);
    if flowers.low > target {
        format!(
            "More than the {target:.0} wanted are through already: the later the spray, the more there will be."
        )
    } else if most.is_some_and(|most| most < target) {
        format!("Not more than the {target:.0} wanted are through yet, by this figure.")
    } else {
        format!("Whether that is more than the {target:.0} wanted cannot be told from the counts at hand.")
    }
}
