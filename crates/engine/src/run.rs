//! The loops themselves.

use std::time::Duration;

use alerts::deliver::Delivered;
use alerts::hook::Called;
use model::time::{DAY, Instant, MINUTE};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::awake::PATIENCE;
use crate::meters::Loop;
use crate::{Engine, PassError, bounces, deliver, fetch, hooks, reckon, watch};

/// Each loop looks at least this often, by the engine's clock: another
/// instance may have written what is to be done.
const LOOK_EVERY: i64 = MINUTE / 2;

/// Nothing is put off for longer than this, save by a clock that was ahead.
const LONGEST_WAIT: i64 = 2 * DAY;

/// Pause after a pass that failed, by the machine's own time: a database that
/// is away is not asked in a circle.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

/// After a pass the reckon loop rests so many times as long as it took, at most so
/// long: while a region logs its counts all at once, requests have most of the
/// machine, and what they bring is reckoned together.
const REST: u32 = 4;
const LONGEST_REST: Duration = Duration::from_secs(2);

/// Sends under way when asked to stop are waited for so long: one that is cut
/// after the server took the message goes out a second time.
const FAREWELL: Duration = Duration::from_secs(5);

/// Runs the three loops until `stop` is cancelled; a pass under way is
/// finished first, save a fetch or a send that hangs.
pub async fn run(engine: Engine, stop: CancellationToken) {
    engine.meters.begin(engine.clock.now());
    tokio::join!(fetch_loop(&engine, &stop), reckon_loop(&engine, &stop), deliver_loop(&engine, &stop));
}

async fn fetch_loop(engine: &Engine, stop: &CancellationToken) {
    let (mut batches, mut stretch) = (JoinSet::new(), None);
    while !stop.is_cancelled() {
        let begun = engine.clock.now();
        let next = next_look(engine);
        let pass = measured(engine, Loop::Fetch, bring(engine, &mut stretch, &mut batches)).await;
        let failed = pass.inspect_err(log("fetch")).is_err();
        if batches.is_empty() && engine.awake.asked(begun) {
            engine.bells.reckon.notify_one();
            engine.bells.deliver.notify_one();
        }
        engine.meters.note_under_way(Loop::Fetch, batches.len());
        tokio::select! {
            () = stop.cancelled() => {}
            () = tokio::time::sleep(AFTER_FAILURE), if failed => {}
            Some(done) = batches.join_next() => {
                let done = done.map_err(PassError::from).and_then(|done| done);
                if done.inspect_err(log("fetch")).is_ok_and(|report| report.fetched > 0) {
                    engine.bells.reckon.notify_one();
                }
            }
            () = engine.bells.fetch.notified(), if !failed => {}
            () = engine.clock.sleep_until(next), if !failed => {}
        }
    }
}

/// What is new in the watched folder, and what is due of the feeds.
async fn bring(
    engine: &Engine,
    stretch: &mut Option<Instant>,
    batches: &mut JoinSet<Result<fetch::Report, PassError>>,
) -> Result<(), PassError> {
    look_at_the_clock(engine, stretch).await?;
    let taken = watch::pass(engine).await;
    // The feeds go on, whatever is wrong with the folder.
    let fetched = fetch::start(engine, batches).await;
    if taken? > 0 {
        engine.bells.reckon.notify_one();
    }
    fetched
}

/// What a wrong clock put off comes back into reach after a start, or when the clock
/// was set; and people hear of one that is wrong. `stretch` is that of the last look.
async fn look_at_the_clock(engine: &Engine, stretch: &mut Option<Instant>) -> Result<(), PassError> {
    let now = engine.clock.now();
    let noted = engine.awake.note(now);
    if *stretch != Some(noted.since) {
        let longest = if noted.after_wrong { 0 } else { LONGEST_WAIT };
        let brought = engine.store.bring_forward(now, now.plus(longest)).await?;
        if brought > 0 {
            tracing::warn!(brought, "a wrong clock had put this off: it is done now");
        }
        *stretch = Some(noted.since);
    }
    let ahead = engine.awake.wrong_by().unwrap_or(0);
    engine.meters.note_ahead(ahead);
    if ahead != 0 {
        tracing::error!(
            ahead_seconds = ahead,
            "the clock of this machine is not what weather providers say: set it; until then nothing is \
             reckoned and no alert goes out"
        );
    }
    Ok(())
}

async fn reckon_loop(engine: &Engine, stop: &CancellationToken) {
    while !stop.is_cancelled() {
        let next = next_look(engine);
        let begun = tokio::time::Instant::now();
        let pass = measured(engine, Loop::Reckon, decided(engine)).await;
        let rest = (begun.elapsed() * REST).min(LONGEST_REST);
        let written = pass.inspect_err(log("reckon"));
        if written.as_ref().is_ok_and(|seasons| *seasons > 0) {
            engine.bells.deliver.notify_one();
        }
        tokio::select! {
            () = stop.cancelled() => {}
            () = tokio::time::sleep(rest) => {}
        }
        tokio::select! {
            () = stop.cancelled() => {}
            () = tokio::time::sleep(AFTER_FAILURE), if written.is_err() => {}
            () = tokio::time::sleep(PATIENCE), if !engine.awake.may_decide() => {}
            () = engine.bells.reckon.notified(), if written.is_ok() => {}
            () = engine.clock.sleep_until(next), if written.is_ok() => {}
        }
    }
}

/// A pass, unless the time is not known well enough.
async fn decided(engine: &Engine) -> Result<u64, PassError> {
    engine.awake.note(engine.clock.now());
    if engine.awake.may_decide() { reckon::pass(engine).await } else { Ok(0) }
}

async fn deliver_loop(engine: &Engine, stop: &CancellationToken) {
    let (mut sends, mut calls) = (JoinSet::new(), JoinSet::new());
    // When a call that did not go well is made again, where that is soon.
    let mut again: Option<Instant> = None;
    while !stop.is_cancelled() {
        again = again.filter(|at| *at > engine.clock.now());
        let next = again.into_iter().fold(next_look(engine), Instant::min);
        let pass = measured(engine, Loop::Deliver, hand_out(engine, &mut sends, &mut calls)).await;
        let failed = pass.inspect_err(log("deliver")).is_err();
        engine.meters.note_under_way(Loop::Deliver, sends.len() + calls.len());
        tokio::select! {
            () = stop.cancelled() => {}
            () = tokio::time::sleep(AFTER_FAILURE), if failed => {}
            Some(done) = sends.join_next() => {
                let _ = done.map_err(PassError::from).and_then(|done| done).inspect_err(log("deliver"));
            }
            Some(done) = calls.join_next() => {
                let done = done.map_err(PassError::from).and_then(|done| done).inspect_err(log("deliver"));
                if let Ok(Called::Later(at, _)) = done {
                    again = Some(again.map_or(at, |before| before.min(at)));
                }
            }
            () = tokio::time::sleep(PATIENCE), if !engine.awake.may_decide() => {}
            () = engine.bells.deliver.notified(), if !failed => {}
            () = engine.clock.sleep_until(next), if !failed => {}
        }
    }
    let farewell = async {
        while sends.join_next().await.is_some() {}
        while calls.join_next().await.is_some() {}
    };
    let _ = tokio::time::timeout(FAREWELL, farewell).await;
    // One that hangs is dropped: its lease runs out.
    sends.shutdown().await;
    calls.shutdown().await;
}

/// What came back, and the mails and calls that can go out now.
async fn hand_out(
    engine: &Engine,
    sends: &mut JoinSet<Result<Delivered, PassError>>,
    calls: &mut JoinSet<Result<Called, PassError>>,
) -> Result<(), PassError> {
    engine.awake.note(engine.clock.now());
    if !engine.awake.may_decide() {
        return Ok(());
    }
    let returned = bounces::pass(engine).await;
    // Mails go out, whatever is wrong with those that came back, and calls whatever
    // is wrong with the mails.
    let mailed = deliver::start(engine, sends).await;
    let called = hooks::start(engine, calls).await;
    mailed.and(called).and(returned.map(|_| ()))
}

/// Notes how a pass went, by the machine's own time.
async fn measured<T>(
    engine: &Engine,
    which: Loop,
    pass: impl Future<Output = Result<T, PassError>>,
) -> Result<T, PassError> {
    let begun = tokio::time::Instant::now();
    let ended = pass.await;
    engine.meters.note(which, ended.is_ok(), begun.elapsed(), engine.clock.now());
    ended
}

/// When a loop looks again after the pass that now begins. Asked before the
/// pass: what a clock put forward brings during it is not waited for twice.
fn next_look(engine: &Engine) -> Instant {
    engine.clock.now().plus(LOOK_EVERY)
}

fn log(pass: &'static str) -> impl Fn(&PassError) {
    move |error| tracing::error!(pass, %error, "a pass failed; the next one tries again")
}
