//! The running program from outside: command line, API, mails.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod ahead;
mod command_line;
mod delivery;
mod demo;
mod deploy;
mod house;
mod import;
mod mail_server;
mod operator;
mod people;
mod real_mail;
mod replay;
mod rig;
mod serve;
mod two_databases;
