//! `serve`: the service, until stopped.

use std::io::IsTerminal;
use std::sync::Arc;

use engine::Meters;
use model::time::Clock;
use tokio_util::sync::CancellationToken;

use crate::cli::say;
use crate::house::{self, House};
use crate::settings::Settings;

/// Runs the command.
pub(crate) async fn run(settings: Settings, clock: Arc<dyn Clock>, meters: Meters) -> anyhow::Result<()> {
    log_to_stderr("info");
    // The address first: the token is made when the house opens and must be
    // shown then. Whoever reads the lines below may ask to stop at once.
    let feeds = house::feeds(&settings)?;
    let listener = house::listen(settings.listen, "--listen").await?;
    let asked_to_stop = house::asked_to_stop()?;
    let house = House::open(&settings, clock, feeds, listener.local_addr()?, meters).await?;
    if settings.smtp.is_some() && settings.heartbeat_to.is_none() {
        tracing::warn!("no --heartbeat-to is set: when mail stops going out, nobody hears of it");
    }
    say(&format!("bloomtide serves http://{}/api/v1", listener.local_addr()?));
    let local = format!("http://{}", listener.local_addr()?);
    let address = settings.public_url.as_deref().unwrap_or(&local).trim_end_matches('/');
    if let Some(claim) = &house.claim {
        say(&format!("take this server over, the link works once: {address}/claim/{claim}"));
    }
    if let Some(token) = &house.first_token {
        say(&format!("token for the API, shown this once: {token}"));
    }
    if let Some(address) = house.metrics_address() {
        say(&format!("metrics at http://{address}/metrics"));
    }
    if settings.smtp.is_none() {
        say(&format!("no mail server is set; mails go to {}", house::shown(&settings.mail_folder)));
    }
    let stop = CancellationToken::new();
    let asked = stop.clone();
    tokio::spawn(async move {
        asked_to_stop.await;
        asked.cancel();
    });
    house.run(listener, stop).await
}

/// Log lines go to stderr; `RUST_LOG` sets how much, by default `level`.
pub(crate) fn log_to_stderr(level: &str) {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(level));
    let coloured = std::io::stderr().is_terminal();
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(coloured)
        .with_writer(std::io::stderr)
        .try_init();
}
