//! The program: command line, settings, putting it together, shutdown.

mod backup;
pub mod cli;
mod clock;
mod config;
mod demo;
mod doctor;
mod document;
mod farm;
mod fit;
mod hand;
mod hindcast;
pub mod hooks;
mod house;
mod import;
mod journal;
mod metrics;
mod migrate;
mod mix;
mod post;
mod replay;
mod season_file;
mod serve;
mod settings;
mod token;
#[cfg(feature = "trial")]
mod trial;
mod user;
mod verify;
