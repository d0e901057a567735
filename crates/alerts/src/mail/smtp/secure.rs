//! TLS to the mail server.

use std::sync::Arc;
use std::time::Duration;

use mail_send::SmtpClient;
use mail_send::smtp::tls::build_tls_connector;
use rustls::ClientConfig;
use rustls::crypto::ring;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;

use super::Relay;

/// Shakes hands with the server, whose certificate must be valid for
/// `relay.host`. `Err` says what was wrong.
pub async fn shake_hands(
    relay: &Relay,
    stream: TcpStream,
    within: Duration,
) -> Result<impl AsyncRead + AsyncWrite + Unpin + Send, String> {
    let client = SmtpClient { stream, timeout: within };
    let secured = match &relay.roots {
        Some(roots) => {
            let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
                .with_safe_default_protocol_versions()
                .expect("ring carries TLS 1.2 and 1.3")
                .with_root_certificates(Arc::clone(roots))
                .with_no_client_auth();
            client.into_tls(&Arc::new(config).into(), &relay.host).await
        }
        None => {
            // Reads the system's certificates from disk, afresh each time: one
            // that the operator adds counts without a restart.
            let connector = tokio::task::spawn_blocking(|| {
                // mail-send asks for the process's own provider; where another
                // part has set one already, that one holds.
                let _ = ring::default_provider().install_default();
                build_tls_connector(false)
            })
            .await
            .map_err(|_| "the system's certificates cannot be read".to_owned())??;
            client.into_tls(&connector, &relay.host).await
        }
    };
    secured.map(|client| client.stream).map_err(|error| error.to_string())
}
