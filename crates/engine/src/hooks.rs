//! The calls of hooks, which go out beside the mails.

use alerts::hook::{Called, LEASE, call};
use store::{Hook, LeasedCall, Word};
use tokio::task::JoinSet;

use crate::{Engine, PassError, beside};

/// Calls under way at a time, of each hook one: enough that slow receivers do not
/// hold the others, few enough for a small server.
const CALLS_AT_ONCE: u32 = 8;

/// What a pass over the hooks did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Report {
    /// Calls that their receivers have.
    pub delivered: u64,
    /// Calls to be tried again.
    pub later: u64,
    /// Calls given up.
    pub failed: u64,
}

/// Makes all calls that can be made now, and waits for them.
///
/// # Errors
/// When the database fails; calls already leased come again when their lease runs
/// out.
pub async fn pass(engine: &Engine) -> Result<Report, PassError> {
    let mut calls = JoinSet::new();
    let mut report = Report::default();
    loop {
        start(engine, &mut calls).await?;
        let Some(done) = calls.join_next().await else {
            return Ok(report);
        };
        match done?? {
            Called::Delivered => report.delivered += 1,
            Called::Later(..) => report.later += 1,
            Called::Failed(_) | Called::Gone(_) => report.failed += 1,
            Called::NotOurs => {}
        }
    }
}

/// Starts as many calls as there is room for beside those under way.
pub(crate) async fn start(
    engine: &Engine,
    calls: &mut JoinSet<Result<Called, PassError>>,
) -> Result<(), PassError> {
    // Like mails, calls wait after a restore until it is known what went out.
    if !beside::may_go_out(engine).await? {
        return Ok(());
    }
    engine.store.give_up_calls(engine.clock.now()).await?;
    let under_way = u32::try_from(calls.len()).unwrap_or(u32::MAX);
    let room = CALLS_AT_ONCE.saturating_sub(under_way);
    if room > 0 {
        let now = engine.clock.now();
        for leased in engine.store.lease_calls(now, now.plus(LEASE), room).await? {
            let engine = engine.clone();
            calls.spawn(async move { make(&engine, &leased).await });
        }
    }
    Ok(())
}

/// Whoever looks after the farm hears that a hook is switched off.
async fn tell_of_end(engine: &Engine, hook: &Hook, cause: &str) -> Result<(), PassError> {
    let now = engine.clock.now();
    let farm = engine.store.farm(&hook.farm_id).await?.map(|farm| farm.name).unwrap_or_default();
    let word = Word::HookOff { farm, hook: hook.name.clone(), cause: cause.to_owned() };
    let seed = format!("{} {}", hook.id, hook.version);
    let to = engine.store.caretakers(&hook.farm_id, "").await?;
    let notices: Vec<_> = to.iter().map(|to| word.notice(&hook.farm_id, to, &seed, now)).collect();
    engine.store.add_notices(&notices).await?;
    Ok(())
}

async fn make(engine: &Engine, leased: &LeasedCall) -> Result<Called, PassError> {
    let called = call(&engine.store, engine.carrier.as_ref(), leased, engine.clock.as_ref()).await?;
    // What a receiver says stands in the store, never in the log: it is one farm's.
    let (id, hook) = (&leased.call.id, &leased.hook.id);
    match &called {
        Called::Delivered => tracing::info!(call = id, hook, "called"),
        Called::Later(at, _) => tracing::warn!(call = id, hook, next_try = %at, "not called yet"),
        Called::Failed(_) => tracing::error!(call = id, hook, "call given up"),
        Called::Gone(cause) => {
            tracing::warn!(hook, "the receiver wants no more calls: switched off");
            tell_of_end(engine, &leased.hook, cause).await?;
        }
        Called::NotOurs => tracing::warn!(call = id, hook, "the lease had gone to another instance"),
    }
    Ok(called)
}
