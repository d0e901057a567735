//! The deliver pass: what is uncomposed is composed, what is composed is sent.

use std::sync::{Arc, Mutex};

use alerts::compose::{MOST_ALERTS, compose};
use alerts::deliver::{self, Delivered, LEASE};
use alerts::notices;
use model::time::{Instant, MINUTE};
use store::{LeasedMessage, Message, Uncomposed, trial};
use tokio::task::JoinSet;

use crate::{Engine, PassError, beside};

/// Items composed in one transaction.
const COMPOSED_AT_ONCE: u32 = 200;

/// Connections held at a time: enough that a slow server does not hold the
/// others, few enough that it does not mind.
const SENT_AT_ONCE: u32 = 8;

/// While the mail server is away it is tried this often, with the oldest message
/// alone: so all others keep their turn, and go out at once when it is back.
const TRY_AWAY_EVERY: i64 = MINUTE;

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

/// Whether the mail server answers, as far as this process knows.
#[derive(Debug, Default)]
pub struct Way {
    /// When it was last tried in vain; none while it answers.
    away: Mutex<Option<Instant>>,
}

impl Way {
    fn away(&self) -> Option<Instant> {
        *self.away.lock().unwrap_or_else(|broken| broken.into_inner())
    }

    /// Since when it has been away, or was last tried in vain.
    pub fn last_tried_in_vain(&self) -> Option<Instant> {
        self.away()
    }

    /// Notes how a send went; gives whether the server is back.
    fn note(&self, failed: bool, now: Instant) -> bool {
        let mut away = self.away.lock().unwrap_or_else(|broken| broken.into_inner());
        let before = std::mem::replace(&mut *away, failed.then_some(now));
        before.is_some() && !failed
    }
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
            Delivered::Later { .. } => report.later += 1,
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
    let now = engine.clock.now();
    if !beside::may_go_out(engine).await? {
        return Ok(0);
    }
    engine.store.give_up_outdated(now).await?;
    beside::look(engine).await?;
    let composed = compose_all(engine).await? + compose_notices(engine).await?;
    let under_way = u32::try_from(sends.len()).unwrap_or(u32::MAX);
    let room = SENT_AT_ONCE.saturating_sub(under_way);
    let (room, whenever) = match engine.way.away() {
        None => (room, false),
        Some(tried) if now.since(tried).abs() >= TRY_AWAY_EVERY => (room.min(1), true),
        Some(_) => (0, false),
    };
    if room > 0 {
        let now = engine.clock.now();
        for leased in engine.store.lease_messages(now, now.plus(LEASE), room, whenever).await? {
            let engine = engine.clone();
            sends.spawn(async move { send(&engine, &leased).await });
        }
    }
    Ok(composed)
}

/// Composes what no message carries yet, one mail for each recipient, each page in a
/// transaction of its own. What cannot be put into words is given up, with the
/// reason on record, so that it holds up no other.
async fn compose_all(engine: &Engine) -> Result<u64, PassError> {
    let mut composed = 0;
    loop {
        let now = engine.clock.now();
        let waiting = engine.store.uncomposed(now, COMPOSED_AT_ONCE).await?;
        let mut messages = Vec::new();
        let same = |a: &Uncomposed, b: &Uncomposed| a.item.recipient == b.item.recipient;
        for group in waiting.chunk_by(same).flat_map(|group| group.chunks(MOST_ALERTS)) {
            messages.extend(compose_group(engine, group, now).await?);
        }
        let added = engine.store.add_messages(&messages).await?;
        if added > 0 {
            trial::point(trial::COMPOSED);
        }
        composed += added;
        if waiting.len() < COMPOSED_AT_ONCE as usize {
            return Ok(composed);
        }
    }
}

/// One mail of all, or one of each where some cannot be put into words.
async fn compose_group(
    engine: &Engine,
    group: &[Uncomposed],
    now: Instant,
) -> Result<Vec<(Message, Vec<String>)>, PassError> {
    let ids = |some: &[&Uncomposed]| some.iter().map(|one| one.item.id.clone()).collect::<Vec<_>>();
    let all: Vec<&Uncomposed> = group.iter().collect();
    if let Ok(message) = compose(&all, &engine.sender, now) {
        return Ok(vec![(message, ids(&all))]);
    }
    let mut messages = Vec::new();
    for one in group {
        match compose(&[one], &engine.sender, now) {
            Ok(message) => messages.push((message, ids(&[one]))),
            Err(error) => {
                tracing::error!(%error, "an alert cannot be put into words");
                engine.store.give_up_item(&one.item.id, &error.to_string()).await?;
            }
        }
    }
    Ok(messages)
}

async fn compose_notices(engine: &Engine) -> Result<u64, PassError> {
    let mut composed = 0;
    for notice in engine.store.uncomposed_notices(COMPOSED_AT_ONCE).await? {
        match notices::compose(&notice, &engine.sender, engine.clock.now()) {
            Ok(message) => composed += u64::from(engine.store.carry_notice(&notice.id, &message).await?),
            Err(error) => {
                tracing::error!(%error, notice = notice.id, "a notice cannot be put into words");
                engine.store.give_up_notice(&notice.id, &error.to_string()).await?;
            }
        }
    }
    Ok(composed)
}

async fn send(engine: &Engine, leased: &LeasedMessage) -> Result<Delivered, PassError> {
    let clock = Arc::clone(&engine.clock);
    let delivered = deliver::send(&engine.store, &engine.outlet, leased, &engine.journal, &clock).await?;
    let message = &leased.message.id;
    match &delivered {
        Delivered::Sent => tracing::info!(message, "sent"),
        Delivered::Later { at, cause, .. } => {
            tracing::warn!(message, next_try = %at, cause, "not sent yet");
        }
        Delivered::Failed(cause) => tracing::error!(message, cause, "given up"),
        Delivered::NotOurs => tracing::warn!(message, "the lease had gone to another instance"),
    }
    let away = matches!(delivered, Delivered::Later { relay: true, .. });
    if engine.way.note(away, clock.now()) {
        engine.store.hasten(clock.now()).await?;
        engine.bells.deliver.notify_one();
    }
    Ok(delivered)
}
