//! Everything untrusted that arrives as temperature: station files and live feeds.
//!
//! [`mapping`] says how the columns of a station's file are to be read,
//! [`recognise`] tells it from a file's first part, [`station_file`] reads such a
//! file as a whole or not at all, [`archives`] reads the open archives' own formats
//! without a mapping, and [`layout`] is either. [`feeds`] asks providers over the
//! network, [`checks`] says which readings are to be believed. Nothing is stored
//! here and no clock is read: what a caller must remember goes back to it as a
//! value.

pub mod archives;
pub mod checks;
pub mod feeds;
pub mod layout;
pub mod mapping;
pub mod recognise;
mod stamp;
pub mod station_file;
mod unit_name;
mod zone_name;
