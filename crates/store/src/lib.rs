//! The only SQL: one set of queries for SQLite and Postgres.
//!
//! [`Store`] is the one way in. Each of its methods is one use case and one
//! transaction; no transaction leaves this crate. The queries under `queries/`
//! are plain functions over the alias `Db` and are mounted twice, by the
//! modules `sqlite` and `postgres`, each of which brings a dialect file with
//! what differs: how a write and a read begin, what locks a row, how a
//! database is opened and which of its settings are checked.
#![allow(clippy::duplicate_mod, reason = "the queries are mounted once for each database")]

mod copying;
mod error;
mod front;
mod grouped;
mod hours;
mod migrations;
mod postgres;
mod read;
mod rows;
mod seal;
#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may")]
mod second_wall;
mod sqlite;
mod text;
pub mod trial;
mod writes;

pub use copying::TableSum;
pub use error::{Result, StoreError};
pub use front::{METHODS, Store};
pub use migrations::LATEST as SCHEMA;
pub use rows::*;
pub use seal::Seal;

/// Rows an insert of readings carries: at this size a bare multi-row insert
/// on SQLite stopped getting faster, and seven values a row stay under
/// SQLite's 32,766 and Postgres' 65,535 values a statement.
const READINGS_A_STATEMENT: usize = 2_000;

/// Seasons, alerts or other wide rows that one statement carries: 10,000
/// seasons were written in 0.175 s in chunks of this size, in 1.2 s one by one.
const ROWS_A_STATEMENT: usize = 200;
