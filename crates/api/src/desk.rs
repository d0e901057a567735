//! What every handler has at hand.

use std::ops::Deref;
use std::sync::atomic::{AtomicU16, Ordering};
use std::sync::{Arc, Mutex};

use access::{Caller, Deed};
use axum::body::Bytes;
use axum::extract::FromRequestParts;
use axum::http::HeaderValue;
use axum::http::request::Parts;
use model::time::Instant;
use store::{Behalf, Store};
use tokio::sync::Semaphore;
use uuid::{ContextV7, Timestamp, Uuid};

use crate::kept::Kept;
use crate::once::Seed;
use crate::problem::Problem;
use crate::quota::Quota;
use crate::{App, Provider, Stirred, limits};

/// The desk with who stands before it, as a handler takes them.
pub(crate) struct Here(pub(crate) Visit);

impl FromRequestParts<Arc<Desk>> for Here {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, desk: &Arc<Desk>) -> Result<Here, Problem> {
        let caller = parts.extensions.get::<Caller>().cloned().ok_or_else(Problem::no_token)?;
        let RequestId(id) = parts.extensions.get::<RequestId>().cloned().ok_or_else(Problem::failed)?;
        let seed = parts.extensions.get::<Seed>().cloned();
        Ok(Here(Visit::new(desk.clone(), caller, id, seed)))
    }
}

/// The request's id, as the log and problems name it.
#[derive(Debug, Clone)]
pub(crate) struct RequestId(pub(crate) String);

/// One request at the desk: everything on it is looked up for its caller alone.
pub(crate) struct Visit {
    desk: Arc<Desk>,
    pub(crate) caller: Caller,
    /// The database on the caller's behalf.
    pub(crate) store: Store,
    /// Where ids follow from the request's key, and how many did.
    seed: Option<(Seed, AtomicU16)>,
}

impl Deref for Visit {
    type Target = Desk;

    fn deref(&self) -> &Desk {
        &self.desk
    }
}

impl Visit {
    pub(crate) fn new(desk: Arc<Desk>, caller: Caller, request_id: String, seed: Option<Seed>) -> Visit {
        let store = desk.house_store.on_behalf(Behalf {
            viewer: caller.person_id.clone().filter(|_| !caller.operator),
            person_id: caller.person_id.clone(),
            credential_id: Some(caller.credential_id.clone()),
            request_id,
            at: desk.now(),
        });
        Visit { desk, caller, store, seed: seed.map(|seed| (seed, AtomicU16::new(0))) }
    }

    /// The person whose roles count; none when all farms are seen.
    pub(crate) fn viewer(&self) -> Option<&str> {
        self.caller.person_id.as_deref().filter(|_| !self.caller.operator)
    }

    /// A new id, above all that were given out before.
    pub(crate) fn new_id(&self) -> String {
        match &self.seed {
            Some((seed, given)) => seed.id(given.fetch_add(1, Ordering::Relaxed)),
            None => self.desk.new_id(),
        }
    }

    /// Lets the caller do something on a farm that they see, or on what is the
    /// server's own.
    pub(crate) fn allow(&self, deed: Deed, farm_id: Option<&str>) -> Result<(), Problem> {
        let may = match farm_id {
            Some(farm_id) => self.caller.may(deed, farm_id),
            None => self.caller.may_operate(),
        };
        if may { Ok(()) } else { Err(Problem::not_allowed(needed(deed, farm_id))) }
    }

    /// Lets the caller do what changes something for all farms.
    pub(crate) fn allow_operating(&self) -> Result<(), Problem> {
        self.allow(Deed::SetUp, None)
    }

    /// Lets the caller add to what all farms share.
    pub(crate) fn allow_sharing(&self) -> Result<(), Problem> {
        if self.caller.may_share() {
            return Ok(());
        }
        Err(Problem::not_allowed("an advisor of any farm"))
    }
}

/// Who may do what, in words.
fn needed(deed: Deed, farm_id: Option<&str>) -> &'static str {
    match (farm_id, deed) {
        (None, _) => "an operator",
        (Some(_), Deed::SetUp) => "an advisor of this farm",
        (Some(_), Deed::Log) => "a grower or an advisor of this farm",
        (Some(_), Deed::Read) => "a person of this farm",
    }
}

/// The application with what the API itself keeps count of.
pub(crate) struct Desk {
    pub(crate) app: App,
    /// The database as the house itself has it, for the door and for health;
    /// what a caller asks goes through [`Visit::store`].
    pub(crate) house_store: Store,
    /// One place for each station file that is being read.
    pub(crate) uploads: Arc<Semaphore>,
    /// Callers by the hash of what they came with.
    pub(crate) callers: Kept<[u8; 32], Caller>,
    /// Seasons as they are answered, with their tag, by viewer, block and year.
    pub(crate) seasons: Kept<String, (Bytes, HeaderValue)>,
    /// What each token has asked for.
    pub(crate) quota: Quota,
    /// Ids rise within a second, as the order of corrections asks.
    ids: Mutex<ContextV7>,
}

impl Desk {
    pub(crate) fn new(app: App) -> Desk {
        Desk {
            house_store: app.store.clone(),
            callers: Kept::new(limits::CALLERS_KEPT),
            seasons: Kept::new(limits::SEASONS_KEPT),
            quota: Quota::new(app.requests_a_minute, limits::REQUESTS_AT_ONCE),
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
        (self.app.poke)(Stirred::Seasons);
    }

    /// Wakes the loop that sends mails and calls.
    pub(crate) fn hand_out(&self) {
        (self.app.poke)(Stirred::Deliveries);
    }

    pub(crate) fn provider(&self, name: &str) -> Option<&Provider> {
        self.app.providers.iter().find(|provider| provider.name == name)
    }
}
