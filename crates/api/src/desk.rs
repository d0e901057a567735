//! What every handler has at hand.

use std::sync::{Arc, Mutex};

use axum::extract::State;
use model::time::Instant;
use tokio::sync::Semaphore;
use uuid::{ContextV7, Timestamp, Uuid};

use crate::{App, Provider, limits};

/// The shared state as a handler takes it.
pub(crate) type Here = State<Arc<Desk>>;

/// The application with what the API itself keeps count of.
pub(crate) struct Desk {
    pub(crate) app: App,
    /// One place for each station file that is being read.
    pub(crate) uploads: Arc<Semaphore>,
    /// Ids rise within a second, as the order of corrections asks.
    ids: Mutex<ContextV7>,
}

impl Desk {
    pub(crate) fn new(app: App) -> Desk {
        Desk {
            app,
            uploads: Arc::new(Semaphore::new(limits::UPLOADS_AT_ONCE)),
            ids: Mutex::new(ContextV7::new()),
        }
    }

    pub(crate) fn now(&self) -> Instant {
        self.app.clock.now()
    }

    /// A new UUIDv7 of the clock's time, above all that were given out before.
    pub(crate) fn new_id(&self) -> String {
        let seconds = self.now().0.max(0).unsigned_abs();
        Uuid::new_v7(Timestamp::from_unix(&self.ids, seconds, 0)).to_string()
    }

    /// Tells the loops that there is something to do.
    pub(crate) fn poke(&self) {
        (self.app.poke)();
    }

    pub(crate) fn provider(&self, name: &str) -> Option<&Provider> {
        self.app.providers.iter().find(|provider| provider.name == name)
    }
}
