//! Copies of what was read, for as long as nothing was written: a change on this
//! instance ends them at once, one on another within a second.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use model::time::Instant;
use tokio::time::Instant as Moment;

/// How long a copy may be behind what another instance wrote.
const LONGEST: Duration = Duration::from_secs(1);

struct Copy<T> {
    /// Number of writes before it was read.
    generation: u64,
    /// When it was read, by the clock that answers go by.
    now: Instant,
    /// The same as time that really passes: that clock may stand still.
    read_at: Moment,
    value: T,
}

/// Copies by their key, at most so many.
pub(crate) struct Kept<K, T> {
    most: usize,
    copies: Mutex<HashMap<K, Copy<T>>>,
}

impl<K: Hash + Eq, T: Clone> Kept<K, T> {
    pub(crate) fn new(most: usize) -> Kept<K, T> {
        Kept { most, copies: Mutex::default() }
    }

    /// The copy that still holds.
    pub(crate) fn get(&self, key: &K, generation: u64, now: Instant) -> Option<T> {
        let copies = self.copies.lock().unwrap_or_else(PoisonError::into_inner);
        let copy = copies.get(key)?;
        let holds = copy.generation == generation && copy.now == now && copy.read_at.elapsed() < LONGEST;
        holds.then(|| copy.value.clone())
    }

    /// Keeps what was read when so many writes had been.
    pub(crate) fn put(&self, key: K, generation: u64, now: Instant, value: T) {
        let mut copies = self.copies.lock().unwrap_or_else(PoisonError::into_inner);
        if copies.len() >= self.most {
            copies.clear();
        }
        copies.insert(key, Copy { generation, now, read_at: Moment::now(), value });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_copy_ends_with_a_write_and_with_the_second() {
        let kept = Kept::new(2);
        kept.put("a", 1, Instant(5), 7);
        assert_eq!(kept.get(&"a", 1, Instant(5)), Some(7));
        assert_eq!(kept.get(&"a", 2, Instant(5)), None, "something was written");
        assert_eq!(kept.get(&"a", 1, Instant(6)), None, "another second");
        assert_eq!(kept.get(&"b", 1, Instant(5)), None);
        kept.put("b", 1, Instant(5), 8);
        kept.put("c", 1, Instant(5), 9);
        assert_eq!(
            (kept.get(&"a", 1, Instant(5)), kept.get(&"c", 1, Instant(5))),
            (None, Some(9)),
            "only so many"
        );
        tokio::time::advance(LONGEST).await;
        assert_eq!(kept.get(&"c", 1, Instant(5)), None, "whatever the clock says");
    }
}
