//! The test kit: real servers for tests.

pub mod browser;
pub mod mail_server;
pub mod postgres;
pub mod program;
pub mod smtp;
