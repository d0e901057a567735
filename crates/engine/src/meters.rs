//! What the loops tell those who watch the service.

use std::time::Duration;

use model::time::Instant;
use prometheus_client::encoding::{EncodeLabelSet, EncodeLabelValue};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;

/// One of the three loops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EncodeLabelValue)]
pub(crate) enum Loop {
    /// Weather comes in.
    Fetch,
    /// Seasons are reckoned.
    Reckon,
    /// Mail goes out.
    Deliver,
}

/// How a pass ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EncodeLabelValue)]
enum Ended {
    Well,
    Failed,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Pass {
    which: Loop,
    ended: Ended,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Of {
    which: Loop,
}

/// A pass takes milliseconds on a small server and seconds on a large one.
const SECONDS: [f64; 8] = [0.005, 0.02, 0.1, 0.5, 2.0, 10.0, 60.0, 300.0];

/// Counts of passes, shared by all who hold them.
#[derive(Debug, Clone)]
pub struct Meters {
    passes: Family<Pass, Counter>,
    seconds: Family<Of, Histogram, fn() -> Histogram>,
    last: Family<Of, Gauge>,
    under_way: Family<Of, Gauge>,
    ahead: Gauge,
}

impl Default for Meters {
    fn default() -> Meters {
        let histogram: fn() -> Histogram = || Histogram::new(SECONDS);
        Meters {
            passes: Family::default(),
            seconds: Family::new_with_constructor(histogram),
            last: Family::default(),
            under_way: Family::default(),
            ahead: Gauge::default(),
        }
    }
}

impl Meters {
    /// Has them shown.
    pub fn register(&self, registry: &mut Registry) {
        registry.register("bloomtide_passes", "Passes of each loop", self.passes.clone());
        registry.register("bloomtide_pass_seconds", "How long passes took", self.seconds.clone());
        registry.register(
            "bloomtide_pass_last_seconds",
            "When a pass of each loop last ended well, or the loop began, seconds since 1970",
            self.last.clone(),
        );
        registry.register(
            "bloomtide_under_way",
            "Fetches and sends begun and not yet settled, by the loop that began them",
            self.under_way.clone(),
        );
        registry.register(
            "bloomtide_clock_ahead_seconds",
            "How far the clock runs ahead of weather providers', where that is wrong: then no alert goes out",
            self.ahead.clone(),
        );
    }

    /// Notes by how much the clock runs ahead, or is behind, seconds; 0 where that is not
    /// enough to matter.
    pub(crate) fn note_ahead(&self, seconds: i64) {
        self.ahead.set(seconds);
    }

    /// Notes that the loops begin, so that one that never ends a pass well is seen.
    pub(crate) fn begin(&self, now: Instant) {
        for which in [Loop::Fetch, Loop::Reckon, Loop::Deliver] {
            self.last.get_or_create(&Of { which }).set(now.0);
        }
    }

    /// Notes how many fetches or sends a loop has under way. The loop itself says so,
    /// before it sleeps: until it has taken note of one that ended, that one counts.
    pub(crate) fn note_under_way(&self, which: Loop, number: usize) {
        self.under_way.get_or_create(&Of { which }).set(i64::try_from(number).unwrap_or(i64::MAX));
    }

    /// How many fetches and sends are under way.
    pub fn under_way(&self) -> i64 {
        let of = |which| self.under_way.get_or_create(&Of { which }).get();
        of(Loop::Fetch).saturating_add(of(Loop::Deliver))
    }

    /// Notes a pass.
    pub(crate) fn note(&self, which: Loop, well: bool, took: Duration, now: Instant) {
        let ended = if well { Ended::Well } else { Ended::Failed };
        self.passes.get_or_create(&Pass { which, ended }).inc();
        self.seconds.get_or_create(&Of { which }).observe(took.as_secs_f64());
        if well {
            self.last.get_or_create(&Of { which }).set(now.0);
        }
    }
}
