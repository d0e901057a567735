//! The system's clock.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use model::time::{Clock, Instant};

/// Longest sleep in one go: after a suspend, or when the clock was put forward,
/// a sleeper must not oversleep.
const LONGEST_NAP: Duration = Duration::from_secs(15);

/// The machine's own time.
struct SystemClock;

/// The system's clock.
pub(crate) fn system() -> Arc<dyn Clock> {
    Arc::new(SystemClock)
}

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the system's clock")]
    fn now(&self) -> Instant {
        Instant(chrono::Utc::now().timestamp())
    }

    fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(async move {
            let begun = self.now();
            loop {
                let now = self.now();
                let left = at.since(now);
                let Ok(seconds @ 1..) = u64::try_from(left) else {
                    return;
                };
                // A clock that was put back must not make a nap of a minute one of days.
                if now < begun {
                    return;
                }
                tokio::time::sleep(Duration::from_secs(seconds).min(LONGEST_NAP)).await;
            }
        })
    }
}
