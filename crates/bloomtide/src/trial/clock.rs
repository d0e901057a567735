//! A clock that shows what stands in a file, and says when all loops sleep.

use std::collections::BTreeMap;
use std::future::Future;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::{Mutex, MutexGuard};
use std::time::Duration;

use engine::Meters;
use model::time::{Clock, Instant};

/// How often a sleeper looks at the file.
const LOOK: Duration = Duration::from_millis(5);

/// The loops that sleep by this clock: fetch, reckon, deliver.
const LOOPS: usize = 3;

/// Looks of each sleeper, since anything last changed, until all are taken to sleep.
const LOOKS: u32 = 3;

pub(super) struct TrialClock {
    file: PathBuf,
    meters: Meters,
    seen: Mutex<Seen>,
}

/// What was seen since anything last changed: the time shown, or who sleeps.
struct Seen {
    shown: Instant,
    /// Looks of each sleeper.
    asleep: BTreeMap<u64, u32>,
    next: u64,
    told: bool,
}

impl Seen {
    fn changed(&mut self) {
        self.asleep.values_mut().for_each(|looks| *looks = 0);
        self.told = false;
    }
}

impl TrialClock {
    pub(super) fn new(file: PathBuf, meters: Meters) -> TrialClock {
        let seen = Seen { shown: Instant(0), asleep: BTreeMap::new(), next: 0, told: false };
        TrialClock { file, meters, seen: Mutex::new(seen) }
    }

    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.seen.lock().unwrap_or_else(|broken| broken.into_inner())
    }

    fn read(&self) -> MutexGuard<'_, Seen> {
        let mut seen = self.seen();
        // While the file is being written it may be empty: the time stands.
        let read = std::fs::read_to_string(&self.file).ok().and_then(|text| Instant::parse(&text).ok());
        if let Some(shown) = read.filter(|shown| *shown != seen.shown) {
            seen.shown = shown;
            seen.changed();
        }
        seen
    }

    /// Notes that a sleeper has looked. Whoever looked since a bell was rung, or a
    /// task that it waits for ended, has seen that too and sleeps no longer. So when
    /// each has looked since the last change, nothing is left to be done at this
    /// time, and whatever comes from outside comes later.
    fn looked(&self, sleeper: u64) {
        let mut seen = self.seen();
        *seen.asleep.entry(sleeper).or_default() += 1;
        let all = seen.asleep.len() == LOOPS && seen.asleep.values().all(|looks| *looks >= LOOKS);
        if all && !seen.told && self.meters.under_way() == 0 {
            seen.told = self.tell(seen.shown).is_ok();
        }
    }

    fn tell(&self, shown: Instant) -> std::io::Result<()> {
        let beside = |ending: &str| {
            let mut path = self.file.clone().into_os_string();
            path.push(ending);
            PathBuf::from(path)
        };
        std::fs::write(beside(".asleep.part"), shown.to_string())?;
        std::fs::rename(beside(".asleep.part"), beside(".asleep"))
    }
}

impl Clock for TrialClock {
    fn now(&self) -> Instant {
        self.read().shown
    }

    fn sleep_until(&self, at: Instant) -> Pin<Box<dyn Future<Output = ()> + Send + '_>> {
        Box::pin(async move {
            let begun = self.now();
            if begun >= at {
                return;
            }
            let sleeper = Sleeper::lies_down(self);
            // As the system's clock: put back, it wakes whoever sleeps.
            while (begun..at).contains(&self.now()) {
                self.looked(sleeper.number);
                tokio::time::sleep(LOOK).await;
            }
        })
    }
}

/// One that sleeps; woken in whatever way, it is counted no longer.
struct Sleeper<'a> {
    clock: &'a TrialClock,
    number: u64,
}

impl Sleeper<'_> {
    fn lies_down(clock: &TrialClock) -> Sleeper<'_> {
        let mut seen = clock.seen();
        seen.changed();
        seen.next += 1;
        let number = seen.next;
        seen.asleep.insert(number, 0);
        Sleeper { clock, number }
    }
}

impl Drop for Sleeper<'_> {
    fn drop(&mut self) {
        let mut seen = self.clock.seen();
        seen.asleep.remove(&self.number);
        seen.changed();
    }
}
