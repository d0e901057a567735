//! The point at which a trial ends or stops the program.

use std::path::PathBuf;
use std::sync::Mutex;

use rustix::process::{Signal, getpid, kill_process};
use store::trial;

/// What the file asked for, and how often its point was passed since.
#[derive(Default)]
struct Counted {
    asked: String,
    passes: u64,
}

/// Ends or stops the program at the point that `file` names.
pub(super) fn set(file: PathBuf) {
    let counted = Mutex::new(Counted::default());
    let act = move |name: &'static str| {
        let asked = std::fs::read_to_string(&file).unwrap_or_default();
        let mut counted = counted.lock().unwrap_or_else(|broken| broken.into_inner());
        if counted.asked != asked {
            *counted = Counted { asked, passes: 0 };
        }
        let Counted { asked, passes } = &mut *counted;
        let mut words = asked.split_whitespace();
        if words.next() != Some(name) {
            return;
        }
        let at: u64 = words.next().and_then(|number| number.parse().ok()).unwrap_or(1);
        *passes += 1;
        if *passes == at {
            match words.next() {
                Some("stop") => stop(),
                _ => end(),
            }
        }
    };
    // It is set once, here.
    let _ = trial::set(Box::new(act));
}

/// Stops the program as a suspended machine is, until it is let go on.
fn stop() {
    let _ = kill_process(getpid(), Signal::STOP);
}

/// Ends the program at once: nothing is closed, flushed or said.
fn end() -> ! {
    let _ = kill_process(getpid(), Signal::KILL);
    loop {
        std::thread::park();
    }
}
