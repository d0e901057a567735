//! From a letter to bytes, and from bytes to a mail server or a folder.
//!
//! A message is composed once ([`letter`]) and its bytes are kept; whatever
//! carries it ([`smtp`], [`folder`]) carries those bytes unchanged, however
//! often it has to try.

pub mod folder;
pub mod letter;
pub mod smtp;
mod wire;
