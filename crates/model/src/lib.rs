//! The science and the rules of bloom thinning.
//!
//! Pure: no async, no input or output, no database and no clock of its own;
//! `now` is an argument wherever it matters. What comes in are readings
//! ([`series`]), a [`plan`] and a [`field_log`]; what goes out is a
//! [`season`]. The same input gives the same bits on every machine.

pub mod ahead;
pub mod air;
pub mod alert_kind;
pub mod block;
pub mod bloom;
pub mod buds;
pub mod catalogue;
pub mod comparison;
pub mod cropload;
pub mod cultivar;
pub mod curve;
pub mod damage;
pub mod field_log;
pub mod fit;
pub mod frost;
pub mod gaps;
pub mod growth;
pub mod hindcast;
pub mod input;
pub mod legs;
pub mod lent;
pub mod materials;
pub mod mixing;
pub mod odds;
pub mod plan;
pub mod pollination;
pub mod record;
pub mod round;
pub mod score;
pub mod season;
pub mod series;
pub mod site;
pub mod slot;
pub mod stage;
pub mod stats;
pub mod style;
pub mod sun;
pub mod through;
pub mod time;
pub mod timeline;
pub mod units;
pub mod verdict;
pub mod verify;
pub mod waiting;
pub mod wishes;
pub mod wood;
pub mod words;
