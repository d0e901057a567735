//! Colours, strokes and their words, in one place.
//!
//! Every text colour stands out 7:1 or more from the paper, so that a phone in
//! the sun can be read; no state is told by colour alone.

use model::series::Quality;

/// Background.
pub(crate) const PAPER: &str = "#fffdf7";
/// Background of a panel.
pub(crate) const PANEL: &str = "#ffffff";
/// Frame of a panel and of the whole.
pub(crate) const FRAME: &str = "#cfc8b8";
/// Main text.
pub(crate) const INK: &str = "#26242b";
/// Axis numbers and notes.
pub(crate) const SOFT_INK: &str = "#4b4852";
/// Progress of the tubes.
pub(crate) const TUBE: &str = "#17583a";
/// Progress on the second curve.
pub(crate) const SECOND: &str = "#5a2f8c";
/// Open flowers.
pub(crate) const FLOWER: &str = "#8c1d55";
/// Sprays.
pub(crate) const SPRAY: &str = "#12478a";

/// Lines at each day and each number of an axis.
pub(crate) const GRID: &str = r##"stroke="#e9e4d8" stroke-width="1""##;
/// The temperature as it was read.
pub(crate) const READ: &str = r##"fill="none" stroke="#c4502b" stroke-width="1.8" stroke-linejoin="round""##;
/// The temperature where it was joined or comes from another source.
pub(crate) const FILLED: &str =
    r##"fill="none" stroke="#c4502b" stroke-width="1.8" stroke-dasharray="1.5 3" stroke-linecap="round""##;
/// The temperature as it was foretold.
pub(crate) const FORETOLD: &str =
    r##"fill="none" stroke="#c4502b" stroke-width="1.6" stroke-dasharray="7 4""##;
/// Hours without a temperature.
pub(crate) const UNKNOWN: &str = r##"fill="#c9c6c0" fill-opacity="0.55""##;
/// The border between what was read and what is foretold.
pub(crate) const LAST_READING: &str = r##"stroke="#26242b" stroke-width="1.2" stroke-dasharray="2 3""##;
/// The clock's own line.
pub(crate) const PROGRESS: &str =
    r##"fill="none" stroke="#1f7a4f" stroke-width="2.6" stroke-linejoin="round""##;
/// The clock's own line on forecast hours.
pub(crate) const PROGRESS_AHEAD: &str =
    r##"fill="none" stroke="#1f7a4f" stroke-width="2.2" stroke-dasharray="7 4""##;
/// What lies under the clock's line.
pub(crate) const UNDER_PROGRESS: &str = r##"fill="#1f7a4f" fill-opacity="0.10""##;
/// Between at least and at most.
pub(crate) const BETWEEN: &str = r##"fill="#1f7a4f" fill-opacity="0.28""##;
/// The second curve.
pub(crate) const SECOND_LINE: &str =
    r##"fill="none" stroke="#7b4bb3" stroke-width="1.5" stroke-dasharray="5 3""##;
/// A mark.
pub(crate) const MARK: &str = r##"stroke="#26242b" stroke-width="1.6""##;
/// The foot of the style, and the wanted number of flowers.
pub(crate) const LEVEL: &str = r##"stroke="#6b6772" stroke-width="1" stroke-dasharray="3 3""##;
/// Stem of a count.
pub(crate) const STEM: &str = r##"stroke="#b83a7c" stroke-width="3""##;
/// Spread of the start.
pub(crate) const SPREAD: &str = r##"stroke="#8c1d55" stroke-width="2""##;
/// From the start in the counts down to the clock.
pub(crate) const START_LINE: &str = r##"stroke="#8c1d55" stroke-width="1.2" stroke-dasharray="2 3""##;
/// A spray, from head to foot.
pub(crate) const SPRAY_LINE: &str = r##"stroke="#1d63bd" stroke-width="2""##;
/// From a label to its point.
pub(crate) const LEADER: &str = r##"stroke="#6b6772" stroke-width="0.9""##;
/// A fitted curve where observations carry it.
pub(crate) const FITTED: &str =
    r##"fill="none" stroke="#1f7a4f" stroke-width="2.4" stroke-linejoin="round""##;
/// A fitted curve beyond its observations.
pub(crate) const FITTED_BEYOND: &str =
    r##"fill="none" stroke="#1f7a4f" stroke-width="1.8" stroke-dasharray="7 4""##;
/// 95 % interval of a fitted rate.
pub(crate) const SPREAD_OF_RATE: &str = r##"stroke="#17583a" stroke-width="1.4""##;
/// An observation after the shortest time.
pub(crate) const SEEN_FIRST: &str = r##"fill="#ffffff" stroke="#8c1d55" stroke-width="1.6""##;
/// An observation between the shortest and the longest time.
pub(crate) const SEEN_BETWEEN: &str = r##"fill="#dba3c1" stroke="#8c1d55" stroke-width="1.6""##;
/// An observation after the longest time.
pub(crate) const SEEN_LAST: &str = r##"fill="#8c1d55" stroke="#8c1d55" stroke-width="1.6""##;
/// While the sun is down.
pub(crate) const NIGHT: &str = r##"fill="#e4e6f0""##;
/// The present moment.
pub(crate) const NOW: &str = r##"stroke="#26242b" stroke-width="1.4" stroke-dasharray="4 2""##;
/// A share of all cases, by when it comes.
pub(crate) const DOT: &str = r##"fill="#17583a" stroke="#ffffff" stroke-width="1""##;
/// A share of all cases that does not come within the forecast.
pub(crate) const DOT_NEVER: &str = r##"fill="#ffffff" stroke="#26242b" stroke-width="1.4""##;
/// One of the steps of a fan's outer part; they lie on each other.
pub(crate) const FAN_STEP: &str = r##"fill="#1f7a4f" fill-opacity="0.13""##;
/// The middle half of a fan.
pub(crate) const FAN_HALF: &str =
    r##"fill="#1f7a4f" fill-opacity="0.38" stroke="#1f7a4f" stroke-width="0.8" stroke-linejoin="round""##;
/// A line of a hatched area.
pub(crate) const HATCH: &str = r##"stroke="#8b8792" stroke-width="0.8""##;
/// Hours with readings.
pub(crate) const BAR: &str = r##"fill="#a8743f" stroke="#6f4a22" stroke-width="0.8""##;
/// Hours without.
pub(crate) const GAP: &str = r##"fill="#ffffff" stroke="#6b6772" stroke-width="1" stroke-dasharray="3 2""##;
/// A reading that checking found something about, and the rim that lifts it off its bar.
pub(crate) const CROSS: &str = r##"stroke="#26242b" stroke-width="1.8""##;
pub(crate) const CROSS_RIM: &str = r##"stroke="#ffffff" stroke-width="4""##;
/// A node of a growth curve.
pub(crate) const NODE: &str = r##"fill="#ffffff" stroke="#17583a" stroke-width="1.6""##;
/// What the data of a curve do not cover.
pub(crate) const UNCOVERED: &str = r##"fill="#efece4""##;
/// A stretch in which a block can be sprayed.
pub(crate) const SLOT: &str = r##"fill="#d9e6f5" stroke="#9db6d3" stroke-width="0.8""##;
/// A sprayer on its way.
pub(crate) const WAY: &str = r##"stroke="#12478a" stroke-width="1.6" stroke-dasharray="2 2""##;
/// A block that is being sprayed.
pub(crate) const VISIT: &str = r##"fill="#12478a" stroke="#12478a" stroke-width="1""##;
/// The same on the wrong side of its mark.
pub(crate) const VISIT_OFF: &str = r##"fill="#ffffff" stroke="#12478a" stroke-width="2.4""##;
/// Between two sprayers.
pub(crate) const LANE: &str = r##"stroke="#8b8792" stroke-width="1""##;
/// A site that needs someone now, one that is under way and one that rests.
pub(crate) const SITE_PRESSING: &str = r##"fill="#8c1d55" stroke="#ffffff" stroke-width="1.6""##;
pub(crate) const SITE_AHEAD: &str = r##"fill="#17583a" stroke="#ffffff" stroke-width="1.6""##;
pub(crate) const SITE_RESTING: &str = r##"fill="#ffffff" stroke="#26242b" stroke-width="2""##;

/// The line of a temperature by where it comes from.
pub(crate) fn line(quality: Quality) -> &'static str {
    match quality {
        Quality::Observed | Quality::Unknown => READ,
        Quality::Filled => FILLED,
        Quality::Forecast => FORETOLD,
    }
}

/// Where a temperature comes from, in words.
pub(crate) fn quality(quality: Quality) -> &'static str {
    match quality {
        Quality::Observed => "read",
        Quality::Filled => "joined, or from another source",
        Quality::Forecast => "forecast",
        Quality::Unknown => "unknown",
    }
}
