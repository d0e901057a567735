//! Small pictures say what their numbers say, in well-formed SVG.

mod ahead;
mod checked;
mod curve;
mod dots;
mod fan;
mod round;
#[path = "../spring/mod.rs"]
mod spring;
mod weather;
