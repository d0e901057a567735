//! The deliver pass: what is uncomposed is composed, what is composed is sent.

use std::sync::Arc;

use alerts::compose::compose;
use alerts::deliver::{self, Delivered, LEASE};
use store::LeasedMessage;
use tokio::task::JoinSet;

use crate::{Engine, PassError};

/// Items composed in one transaction.
const COMPOSED_AT_ONCE: u32 = 200;

/// Connections held at a time: enough that a slow server does not hold the
/// others, few enough that it does not mind.
const SENT_AT_ONCE: u32 = 8;

/// What a deliver pass did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Report {
    /// Messages composed.
    pub composed: u64,
    /// Messages taken by the server or the folder.
    pub sent: u64,
    /// Messages to be tried again.
    pub later: u64,
    /// Messages given up.
    pub failed: u64,
}

/// Composes and sends all that can be sent now, and waits for it.
///
/// # Errors
/// When the database fails; messages already leased come again when their
/// lease runs out.
pub async fn pass(engine: &Engine) -> Result<Report, PassError> {
    let mut sends = JoinSet::new();
    let mut report = Report::default();
    loop {
        report.composed += start(engine, &mut sends).await?;
        let Some(done) = sends.join_next().await else {
            return Ok(report);
        };
        match done?? {
            Delivered::Sent => report.sent += 1,
            Delivered::Later(..) => report.later += 1,
            Delivered::Failed(_) => report.failed += 1,
            Delivered::NotOurs => {}
        }
    }
}

/// Composes what is uncomposed, and starts as many sends as there is room for
/// beside those under way, so that one that hangs holds up no other. Gives how
/// many messages were composed.
pub(crate) async fn start(
    engine: &Engine,
    sends: &mut JoinSet<Result<Delivered, PassError>>,
) -> Result<u64, PassError> {
    engine.store.give_up_outdated(engine.clock.now()).await?;
    let composed = compose_all(engine).await?;
    let under_way = u32::try_from(sends.len()).unwrap_or(u32::MAX);
    let room = SENT_AT_ONCE.saturating_sub(under_way);
    if room > 0 {
        let now = engine.clock.now();
        for leased in engine.store.lease_messages(now, now.plus(LEASE), room).await? {
            let engine = engine.clone();
            sends.spawn(async move { send(&engine, &leased).await });
        }
    }
    Ok(composed)
}

/// Composes what no message carries yet, each page in a transaction of its
/// own. What cannot be put into words is given up, with the reason on record,
/// so that it holds up no other.
async fn compose_all(engine: &Engine) -> Result<u64, PassError> {
    let mut composed = 0;
    loop {
        let waiting = engine.store.uncomposed(COMPOSED_AT_ONCE).await?;
        let now = engine.clock.now();
        let mut messages = Vec::with_capacity(waiting.len());
        for item in &waiting {
            match compose(item, &engine.sender, now) {
                Ok(message) => messages.push((message, vec![item.item.id.clone()])),
                Err(error) => {
                    tracing::error!(%error, "an alert cannot be put into words");
                    engine.store.give_up_item(&item.item.id, &error.to_string()).await?;
                }
            }
        }
        composed += engine.store.add_messages(&messages).await?;
        if waiting.len() < COMPOSED_AT_ONCE as usize {
            return Ok(composed);
        }
    }
}

async fn send(engine: &Engine, leased: &LeasedMessage) -> Result<Delivered, PassError> {
    let clock = Arc::clone(&engine.clock);
    let delivered = deliver::send(&engine.store, &engine.outlet, leased, &clock).await?;
    let message = &leased.message.id;
    match &delivered {
        Delivered::Sent => tracing::info!(message, "sent"),
        Delivered::Later(at, cause) => tracing::warn!(message, next_try = %at, cause, "not sent yet"),
        Delivered::Failed(cause) => tracing::error!(message, cause, "given up"),
        Delivered::NotOurs => tracing::warn!(message, "the lease had gone to another instance"),
    }
    Ok(delivered)
}
