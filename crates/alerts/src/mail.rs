//! From a letter to bytes, and from bytes to a mail server or a folder.
//!
//! A message is composed once ([`letter`]) and its bytes are kept; whatever
//! carries it ([`smtp`], [`folder`]) carries those bytes unchanged, however
//! often it has to try. What comes back ([`bounce`]) is read where the mail server
//! puts it ([`bounce_box`]).

pub mod bounce;
pub mod bounce_box;
pub mod folder;
pub mod letter;
pub mod smtp;
mod wire;
