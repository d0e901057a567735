//! The system's clock, and one that a trial can set.

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
            loop {
                let left = at.since(self.now());
                let Ok(seconds @ 1..) = u64::try_from(left) else {
                    return;
                };
                tokio::time::sleep(Duration::from_secs(seconds).min(LONGEST_NAP)).await;
            }
        })
    }
}

/// A clock that shows what stands in a file, for trials.
#[cfg(feature = "trial")]
mod trial {
    use std::path::PathBuf;
    use std::sync::Mutex;

    use super::*;

    struct TrialClock {
        file: PathBuf,
        last: Mutex<Instant>,
    }

    impl Clock for TrialClock {
        fn now(&self) -> Instant {
            let mut last = self.last.lock().unwrap_or_else(|broken| broken.into_inner());
            let read = std::fs::read_to_string(&self.file).ok().and_then(|text| Instant::parse(&text).ok());
            // While the file is being written it may be empty: the time stands.
            *last = read.unwrap_or(*last);
            *last
        }

        fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
            Box::pin(async move {
                while self.now() < at {
                    tokio::time::sleep(Duration::from_millis(20)).await;
                }
            })
        }
    }

    /// The clock of the file when one is named, else the system's.
    pub(crate) fn trial_or_system(file: Option<PathBuf>) -> Arc<dyn Clock> {
        match file {
            Some(file) => Arc::new(TrialClock { file, last: Mutex::new(Instant(0)) }),
            None => system(),
        }
    }
}
#[cfg(feature = "trial")]
pub(crate) use trial::trial_or_system;
