//! A phone in the orchard, with a server that can be away.

mod at_once;
mod counting;
mod earlier;
mod later;
mod mending;
pub(crate) mod plot;
mod waiting;
