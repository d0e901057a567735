//! Until when nobody works in the block.

use serde::{Deserialize, Serialize};

use crate::field_log::{Observed, Standing};
use crate::plan::Plan;
use crate::time::{DAY, Instant};

/// A spray without a recorded interval is spoken of for so long.
const SPOKEN_OF: i64 = 7 * DAY;

/// What the latest spray says of going into the block.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reentry {
    /// Nobody works in the block before; none where it was not recorded.
    pub until: Option<Instant>,
    /// Whether that lies ahead.
    pub closed: bool,
    /// When the spray was finished.
    #[serde(default)]
    pub finished_at: Option<Instant>,
    /// The spray.
    pub entry: String,
    /// Its material.
    pub material: String,
}

/// By the sprays up to now: the one that keeps the block closed longest, else the
/// newest of the last days. A spray under way closes it too.
pub(super) fn latest(
    plan: &Plan,
    sprays: &[&Standing<'_>],
    as_of: Option<Instant>,
    now: Instant,
) -> Option<Reentry> {
    let mut longest: Option<Reentry> = None;
    for entry in sprays {
        let Observed::Spray(spray) = entry.says else { continue };
        let finished = spray.finished_at.unwrap_or(entry.at);
        let usual = plan
            .materials
            .iter()
            .find(|material| [&material.id, &material.name].contains(&&spray.material))
            .and_then(|material| material.reentry_hours)
            .map(|hours| (hours * 3_600.0) as i64);
        let until = spray.reentry_at.or_else(|| Some(finished.plus(usual?)));
        let closed = until.is_some_and(|until| until > now);
        if !closed && as_of.is_some_and(|as_of| as_of.since(finished) > SPOKEN_OF) {
            continue;
        }
        let this = Reentry {
            until,
            closed,
            finished_at: Some(finished),
            entry: entry.id.to_owned(),
            material: spray.material.clone(),
        };
        // What keeps it closed longest, then what nobody recorded, then the rest.
        let weight = |one: &Reentry| (one.closed, one.until.is_none(), one.until);
        longest = match longest {
            Some(other) if weight(&other) > weight(&this) => Some(other),
            _ => Some(this),
        };
    }
    longest
}
