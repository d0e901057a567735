//! The pages as a browser has them, over a real SQLite store.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod ahead;
mod house;
mod orchard;

mod air;
mod board;
mod clocks;
mod doors;
mod farm;
mod field;
mod home;
mod mailed;
mod materials;
mod mending;
mod people;
mod reading;
mod round;
mod season;
mod set_up;
mod sheets;
mod told;
mod walls;
