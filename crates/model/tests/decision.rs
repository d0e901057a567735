//! The decision around the clock, from documents under the tables that ship:
//! verdict, frost, live counts, what is borrowed, flowers through, re-entry, what
//! set. Temperatures are such that the answer can be worked out by hand.

mod beside;
mod borrowed;
mod counts;
mod frost;
mod through;
mod verdicts;
