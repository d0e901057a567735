//! The demo's clock: set hour by hour while the spring is played, then running
//! on with the machine's.

use std::future::Future;
use std::pin::Pin;
use std::sync::Mutex;
use std::time::Duration;

use model::time::{Clock, Instant};

/// See the module.
pub(super) struct DemoClock {
    shows: Mutex<Shows>,
}

#[derive(Clone, Copy)]
enum Shows {
    Set(Instant),
    RunsFrom(Instant, std::time::Instant),
}

impl DemoClock {
    pub(super) fn new(at: Instant) -> DemoClock {
        DemoClock { shows: Mutex::new(Shows::Set(at)) }
    }

    /// Sets the clock.
    pub(super) fn set(&self, at: Instant) {
        *self.lock() = Shows::Set(at);
    }

    /// Lets it run from where it stands.
    pub(super) fn run_on(&self) {
        let now = self.now();
        *self.lock() = Shows::RunsFrom(now, std::time::Instant::now());
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Shows> {
        self.shows.lock().unwrap_or_else(|broken| broken.into_inner())
    }
}

impl Clock for DemoClock {
    fn now(&self) -> Instant {
        match *self.lock() {
            Shows::Set(at) => at,
            Shows::RunsFrom(at, since) => at.plus(since.elapsed().as_secs() as i64),
        }
    }

    fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(async move {
            loop {
                let left = at.since(self.now());
                let Ok(seconds @ 1..) = u64::try_from(left) else {
                    return;
                };
                tokio::time::sleep(Duration::from_secs(seconds.min(15))).await;
            }
        })
    }
}
