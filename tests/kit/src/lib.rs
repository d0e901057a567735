//! The test kit: real servers for tests.

pub mod mail_server;
pub mod postgres;
pub mod program;
pub mod smtp;
