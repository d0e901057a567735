//! Whether the loops have been at work for a while without a break. Right after a
//! start, or a suspend of the machine, readings may be old only because nobody has
//! asked for them yet.

use std::sync::Mutex;

use model::time::{Instant, MINUTE};

/// A longer pause between two passes is a break.
const BREAK: i64 = 10 * MINUTE;
/// So long after a break what is missing counts as missing.
const SETTLED: i64 = 5 * MINUTE;

/// See the module.
#[derive(Debug, Default)]
pub struct Awake {
    /// When this stretch began, and when a pass last looked.
    stretch: Mutex<Option<(Instant, Instant)>>,
}

impl Awake {
    /// Notes a pass; gives since when there was no break.
    pub(crate) fn note(&self, now: Instant) -> Instant {
        let mut stretch = self.stretch.lock().unwrap_or_else(|broken| broken.into_inner());
        let since = match *stretch {
            Some((since, last)) if (0..=BREAK).contains(&now.since(last)) => since,
            _ => now,
        };
        *stretch = Some((since, now));
        since
    }

    /// From when on what is missing counts as missing, for a stretch that began at
    /// `since`.
    pub(crate) fn settled(since: Instant) -> Instant {
        since.plus(SETTLED)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stretch_begins_anew_after_a_break_or_a_clock_put_back() {
        let awake = Awake::default();
        let at = |minutes| Instant(1_777_593_600 + minutes * MINUTE);
        assert_eq!(awake.note(at(0)), at(0));
        assert_eq!(awake.note(at(9)), at(0));
        assert_eq!(awake.note(at(19)), at(0));
        assert_eq!(awake.note(at(30)), at(30));
        assert_eq!(awake.note(at(29)), at(29));
        assert_eq!(Awake::settled(at(29)), at(34));
    }
}
