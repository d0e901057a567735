//! Pages in a real browser, at the size of a telephone and of a desk's screen.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod ahead;
mod axe;
mod bytes;
mod doors;
mod every_page;
mod field;
mod first_run;
mod instruments;
mod keys;
mod orchard;
mod paper;
mod paths;
mod refused;
mod region;
mod settings;
