//! Trials: the service under faults, with everything counted at the mail server.
//!
//! Each prints its seed and what came of it. `TRIAL_SEED` repeats one (but for the
//! moments that the machine itself throws), `TRIAL_N` sets how many faults, and
//! `tests/trials/run --long` runs the long form and writes `RESULTS.md`.
#![allow(clippy::unwrap_used, reason = "tests may")]

use std::hash::{BuildHasher, Hasher, RandomState};

mod air;
mod api;
mod away;
mod awkward;
mod clock;
mod corrections;
mod database;
mod dice;
mod door;
mod feed;
mod instances;
mod kill;
mod mail;
mod orchard;
mod reference;
mod restore;
mod rig;
mod stepwise;
mod straight;
mod tally;

/// The seed of this run.
fn seed() -> u64 {
    let given =
        std::env::var("TRIAL_SEED").ok().map(|text| text.parse().expect("TRIAL_SEED is a whole number"));
    given.unwrap_or_else(|| RandomState::new().build_hasher().finish() % 1_000_000)
}

/// How many faults this run is to have.
fn number(usual: u64) -> u64 {
    let given = std::env::var("TRIAL_N").ok().map(|text| text.parse().expect("TRIAL_N is a whole number"));
    given.unwrap_or(usual)
}
