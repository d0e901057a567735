//! The test kit: real servers for tests.

pub mod postgres;
pub mod program;
pub mod smtp;
