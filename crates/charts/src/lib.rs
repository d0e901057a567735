//! Numbers to SVG, with title, description and table.
//!
//! Pure: the same numbers give the same bytes. A picture carries no script,
//! no style sheet, no `id` and no font of its own, so that any number of them
//! can stand in one page, and it brings its own light background. Beside each
//! stands a table with the same facts, beside the map its list. `cargo run -p charts --example pictures`
//! draws them by invented numbers, to be looked at.

mod chances;
pub mod curve;
pub mod dots;
pub mod fan;
mod figures;
pub mod fit;
pub mod hindcast;
mod labels;
mod look;
pub mod map;
mod nights;
mod panel;
pub mod round;
mod scale;
pub mod season;
mod svg;
pub mod weather;
