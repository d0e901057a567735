//! The program: command line, settings, putting it together, shutdown.

pub mod cli;
mod clock;
mod demo;
mod document;
mod house;
mod import;
mod migrate;
mod replay;
mod season_file;
mod serve;
mod settings;
mod user;
