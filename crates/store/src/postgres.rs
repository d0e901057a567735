//! The queries, mounted for Postgres.

#[path = "dialect/postgres.rs"]
mod dialect;

pub(crate) use dialect::Pools;
use dialect::{Connection, Db, Tx};

#[path = "queries/alert_writes.rs"]
mod alert_writes;
#[path = "queries/alerts.rs"]
pub(crate) mod alerts;
#[path = "queries/answers.rs"]
pub(crate) mod answers;
#[path = "queries/appends.rs"]
mod appends;
#[path = "queries/blocks.rs"]
pub(crate) mod blocks;
#[path = "queries/board.rs"]
pub(crate) mod board;
#[path = "queries/calendars.rs"]
pub(crate) mod calendars;
#[path = "queries/confirmations.rs"]
pub(crate) mod confirmations;
#[path = "queries/contacts.rs"]
pub(crate) mod contacts;
#[path = "queries/copying.rs"]
pub(crate) mod copying;
#[path = "queries/credentials.rs"]
pub(crate) mod credentials;
#[path = "queries/expectations.rs"]
pub(crate) mod expectations;
#[path = "queries/farms.rs"]
pub(crate) mod farms;
#[path = "queries/feeds.rs"]
pub(crate) mod feeds;
#[path = "queries/hook_calls.rs"]
pub(crate) mod hook_calls;
#[path = "queries/hooks.rs"]
pub(crate) mod hooks;
#[path = "queries/journal.rs"]
pub(crate) mod journal;
#[path = "queries/lending.rs"]
mod lending;
#[path = "queries/links.rs"]
pub(crate) mod links;
#[path = "queries/load.rs"]
mod load;
#[path = "queries/logs.rs"]
pub(crate) mod logs;
#[path = "queries/notes.rs"]
pub(crate) mod notes;
#[path = "queries/notices.rs"]
pub(crate) mod notices;
#[path = "queries/outbox.rs"]
pub(crate) mod outbox;
#[path = "queries/people.rs"]
pub(crate) mod people;
#[path = "queries/plans.rs"]
pub(crate) mod plans;
#[path = "queries/providers.rs"]
pub(crate) mod providers;
#[path = "queries/readings.rs"]
pub(crate) mod readings;
#[path = "queries/reckoned.rs"]
mod reckoned;
#[path = "queries/schema.rs"]
pub(crate) mod schema;
#[path = "queries/seasons.rs"]
pub(crate) mod seasons;
#[path = "queries/shared.rs"]
pub(crate) mod shared;
#[path = "queries/sites.rs"]
pub(crate) mod sites;
#[path = "queries/sources.rs"]
pub(crate) mod sources;
#[path = "queries/waits.rs"]
pub(crate) mod waits;
#[path = "queries/wall.rs"]
mod wall;
