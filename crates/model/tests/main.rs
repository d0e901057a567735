//! The model against the outside: golden crossings, published values, named
//! cases, properties, and bad input.

mod bad_input;
mod decision;
mod edge_cases;
mod gap_cases;
mod hindcast;
mod kit;
mod known_values;
mod log_cases;
mod odds;
mod properties;
mod reference;
mod sampling;
mod scores;
