//! What a trial may do to the service: set its clock, learn when it sleeps, and end
//! it at a point of its choice. In no build that people use.

mod clock;
mod points;

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;
use engine::Meters;
use model::time::Clock;

use clock::TrialClock;

/// What a trial asks for.
#[derive(Debug, Args)]
pub(crate) struct TrialArgs {
    /// Follow the time written into this file instead of the system's clock. When
    /// all loops sleep, the time shown is written into FILE.asleep.
    #[arg(long, value_name = "FILE")]
    trial_clock: Option<PathBuf>,
    /// End with SIGKILL at the point named in this file: its name and, behind a
    /// blank, at which pass of it, counted from when the file last changed; with
    /// `stop` behind these, SIGSTOP.
    #[arg(long, value_name = "FILE")]
    trial_points: Option<PathBuf>,
}

/// Sets the points and gives the clock.
pub(crate) fn begin(asked: &TrialArgs, meters: &Meters) -> Arc<dyn Clock> {
    if let Some(file) = asked.trial_points.clone() {
        points::set(file);
    }
    match asked.trial_clock.clone() {
        Some(file) => Arc::new(TrialClock::new(file, meters.clone())),
        None => crate::clock::system(),
    }
}
