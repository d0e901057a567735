//! Who may come in: tokens, kept hashed.

pub mod token;

pub use token::{Caller, Denied, bearer, first_token};
