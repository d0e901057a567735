//! How many writes this process has begun and ended, so that whoever keeps a copy
//! of what was read knows when it may be another.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// A number that rises with each write, shared by all handles on the database.
#[derive(Debug, Clone, Default)]
pub(crate) struct Writes(Arc<AtomicU64>);

impl Writes {
    /// Notes that a write begins or has ended.
    pub(crate) fn note(&self) {
        self.0.fetch_add(1, Ordering::SeqCst);
    }

    /// The number now.
    pub(crate) fn number(&self) -> u64 {
        self.0.load(Ordering::SeqCst)
    }
}
