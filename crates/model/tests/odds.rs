//! Odds of starts and marks: on a real spring, what holds for any forecast, and what
//! is said where there are none.

mod asked;
mod cases;
mod doubts;
mod learned;
mod properties;
mod spring;
mod weather;
