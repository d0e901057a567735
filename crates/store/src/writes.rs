//! How many writes this process has begun and ended, so that whoever keeps a copy
//! of what was read knows when it may be another.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Two numbers that rise with each write, shared by all handles on the database.
#[derive(Debug, Clone, Default)]
pub(crate) struct Writes(Arc<Numbers>);

#[derive(Debug, Default)]
struct Numbers {
    all: AtomicU64,
    people: AtomicU64,
}

impl Writes {
    /// Notes that a write begins or has ended.
    pub(crate) fn note(&self) {
        self.0.all.fetch_add(1, Ordering::SeqCst);
    }

    /// The same of one that may change people, their roles and tokens.
    pub(crate) fn note_people(&self) {
        self.0.people.fetch_add(1, Ordering::SeqCst);
        self.note();
    }

    /// The number of all now.
    pub(crate) fn number(&self) -> u64 {
        self.0.all.load(Ordering::SeqCst)
    }

    /// The number now of those that may have changed people, roles or tokens.
    pub(crate) fn of_people(&self) -> u64 {
        self.0.people.load(Ordering::SeqCst)
    }
}
