//! What is told, to whom and how.
//!
//! [`decide`] is pure: from a season, what was told before and the time it
//! gives what to tell now, what to leave untold and why. [`compose`] turns one
//! alert for one recipient into one mail, whose bytes are kept. [`deliver`]
//! hands kept bytes to a mail server or a folder, and [`hook`] to addresses that
//! want to be called. The loops are elsewhere.

pub mod about;
pub mod compose;
pub mod decide;
pub mod deliver;
pub mod digest;
pub mod hook;
pub mod journal;
pub mod mail;
pub mod notices;
pub mod sender;
