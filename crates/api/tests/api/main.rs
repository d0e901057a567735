//! The real router over a real store in a folder of its own, under a clock that
//! the test sets.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod house;
mod imports;

mod ahead;
mod alerts;
mod bad_input;
mod blocks;
mod calendars;
mod catalogue;
mod decision;
mod doors;
mod examples;
mod farms_and_sites;
mod hooks;
mod log;
mod manners;
mod many;
mod matrix;
mod readings;
mod records;
mod roles;
mod season;
mod story;
mod timeline;
mod told;
