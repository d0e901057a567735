//! A phone in the orchard, with a server that can be away.

mod counting;
mod mending;
mod plot;
mod waiting;
