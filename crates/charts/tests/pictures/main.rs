//! Small pictures say what their numbers say, in well-formed SVG.

mod checked;
mod dots;
mod fan;
