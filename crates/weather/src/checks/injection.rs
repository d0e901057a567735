//! Errors planted into the real spring of 2013, and what the checks make of them.
//!
//!     cargo test -p weather --lib checks::injection -- --nocapture
//!
//! prints the tables of `CHECKS.md`.

mod clean;
mod jfk;
mod kit;
mod planted;
mod plants;
