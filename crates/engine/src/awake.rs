//! Whether the loops know enough of the time to decide by it.
//!
//! Right after a start, a suspend of the machine or a clock that was set, readings may
//! be old only because nobody has asked for them yet, and the clock itself may be wrong.
//! So nothing is decided or sent before the feeds were asked, and nothing while they
//! all say that the clock here is wrong: by one that runs ahead alerts are given up as
//! too old for good, by one that was put back they would be taken back and come again.

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard};
use std::time::Duration;

use model::time::{Instant, MINUTE};

/// A longer pause between two passes is a break.
const BREAK: i64 = 10 * MINUTE;
/// So long after a break what is missing counts as missing.
const SETTLED: i64 = 5 * MINUTE;
/// A clock that is off by more than this is wrong: less comes of slow answers and of
/// machines that nobody sets.
const WRONG: i64 = 20 * MINUTE;
/// Feeds that hang are waited for no longer, by the machine's own time.
pub(crate) const PATIENCE: Duration = Duration::from_secs(10);

/// See the module.
#[derive(Debug, Default)]
pub struct Awake {
    seen: Mutex<Seen>,
}

#[derive(Debug, Default)]
struct Seen {
    stretch: Option<Stretch>,
    /// By how much the clock ran ahead of each provider's when it last answered, seconds.
    ahead: BTreeMap<String, i64>,
}

/// A time without a break.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    since: Instant,
    /// Whether the clock was put back before it, or had been wrong.
    after_wrong: bool,
    /// When a pass last looked.
    last: Instant,
    /// The same as [`Self::since`] by the machine's own time.
    begun: tokio::time::Instant,
    /// Whether the feeds have been asked.
    asked: bool,
}

/// What a pass finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Noted {
    /// Since when there was no break.
    pub since: Instant,
    /// Whether the clock was put back before, or had been wrong.
    pub after_wrong: bool,
}

impl Awake {
    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.seen.lock().unwrap_or_else(|broken| broken.into_inner())
    }

    /// Notes that a loop is at work.
    pub(crate) fn note(&self, now: Instant) -> Noted {
        let was_wrong = self.wrong_by().is_some();
        let mut seen = self.seen();
        let before = seen.stretch;
        let stretch = match before {
            Some(stretch) if now.since(stretch.last).abs() <= BREAK => {
                Stretch { last: stretch.last.max(now), ..stretch }
            }
            _ => {
                let back = before.is_some_and(|stretch| now < stretch.last);
                let after_wrong = back || was_wrong;
                // What was heard of another time says nothing of this one.
                seen.ahead.clear();
                Stretch {
                    since: now,
                    after_wrong,
                    last: now,
                    begun: tokio::time::Instant::now(),
                    asked: false,
                }
            }
        };
        seen.stretch = Some(stretch);
        Noted { since: stretch.since, after_wrong: stretch.after_wrong }
    }

    /// Notes that a look at the feeds that began at `begun` left nothing to be waited
    /// for; gives whether that is news.
    pub(crate) fn asked(&self, begun: Instant) -> bool {
        let mut seen = self.seen();
        match &mut seen.stretch {
            Some(stretch) if stretch.since <= begun => !std::mem::replace(&mut stretch.asked, true),
            _ => false,
        }
    }

    /// Notes by how much the clock ran ahead of a provider's.
    pub(crate) fn heard(&self, provider: &str, ahead: i64) {
        self.seen().ahead.insert(provider.to_owned(), ahead);
    }

    /// By how much the clock is wrong, seconds, ahead positive, when every provider that
    /// answered says so: one alone may be wrong itself.
    pub(crate) fn wrong_by(&self) -> Option<i64> {
        let ahead = self.seen().ahead.values().copied().min_by_key(|ahead| ahead.abs());
        ahead.filter(|ahead| ahead.abs() > WRONG)
    }

    /// Whether the time is known well enough to decide and to send by it.
    pub(crate) fn may_decide(&self) -> bool {
        let known = |stretch: Stretch| stretch.asked || stretch.begun.elapsed() >= PATIENCE;
        let asked = self.seen().stretch.is_some_and(known);
        asked && self.wrong_by().is_none()
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

    fn at(minutes: i64) -> Instant {
        Instant(1_777_593_600 + minutes * MINUTE)
    }

    #[tokio::test(start_paused = true)]
    async fn a_stretch_begins_anew_after_a_break_or_a_clock_put_back() {
        let awake = Awake::default();
        let noted = |since, after_wrong| Noted { since: at(since), after_wrong };
        assert_eq!(awake.note(at(0)), noted(0, false));
        assert_eq!(awake.note(at(9)), noted(0, false));
        assert_eq!(awake.note(at(19)), noted(0, false));
        assert_eq!(awake.note(at(30)), noted(30, false));
        // Another loop read the clock a little earlier.
        assert_eq!(awake.note(at(29)), noted(30, false));
        assert_eq!(awake.note(at(10)), noted(10, true));
        awake.heard("one", -7_200);
        assert_eq!(awake.note(at(130)), noted(130, true), "it was wrong before");
        assert_eq!(awake.wrong_by(), None, "until it is heard again");
        assert_eq!(awake.note(at(150)), noted(150, false));
        assert_eq!(Awake::settled(at(29)), at(34));
    }

    #[tokio::test(start_paused = true)]
    async fn nothing_is_decided_before_the_feeds_were_asked() {
        let awake = Awake::default();
        assert!(!awake.may_decide());
        awake.note(at(0));
        assert!(!awake.may_decide());
        // That look began before the break.
        assert!(!awake.asked(at(-1)) && !awake.may_decide());
        assert!(awake.asked(at(0)) && awake.may_decide());
        assert!(!awake.asked(at(1)), "no news");
        awake.note(at(600));
        assert!(!awake.may_decide());
        // Feeds that hang are not waited for for ever.
        tokio::time::advance(PATIENCE).await;
        assert!(awake.may_decide());
    }

    #[tokio::test(start_paused = true)]
    async fn nothing_is_decided_while_all_say_that_the_clock_is_wrong() {
        let awake = Awake::default();
        awake.note(at(0));
        awake.asked(at(0));
        for wrong in [3_600, -3_600] {
            awake.heard("one", wrong);
            assert_eq!((awake.wrong_by(), awake.may_decide()), (Some(wrong), false));
            awake.heard("other", 2);
            assert!(awake.may_decide(), "one of them is wrong itself");
            awake.heard("other", wrong + 1);
            assert!(!awake.may_decide());
            awake.heard("one", -5);
            assert!(awake.may_decide());
            awake.heard("other", wrong);
        }
    }
}
