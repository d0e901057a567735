//! What all feeds have in common, and a client for servers on this machine.

use super::reach::Client;
use super::{ClientSettings, client};

/// Settings of a client for the servers of a test.
pub(super) fn local() -> ClientSettings {
    // Another test may have installed it.
    let _ = rustls::crypto::ring::default_provider().install_default();
    ClientSettings { allow: vec!["127.0.0.1".to_owned()], ..ClientSettings::default() }
}

/// Such a client.
pub(super) fn local_client() -> Client {
    client(&local()).unwrap()
}

#[path = "../../benches/feeds/bodies.rs"]
mod bodies;
mod failures;
mod wire;
