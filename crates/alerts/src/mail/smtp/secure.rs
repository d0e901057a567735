//! TLS to the mail server.

use std::sync::Arc;
use std::time::Duration;

use mail_send::SmtpClient;
use rustls::ClientConfig;
use rustls::crypto::ring;
use rustls_platform_verifier::Verifier;
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
    let provider = Arc::new(ring::default_provider());
    let config = ClientConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()
        .expect("ring carries TLS 1.2 and 1.3");
    let config = match &relay.roots {
        Some(roots) => config.with_root_certificates(Arc::clone(roots)).with_no_client_auth(),
        None => {
            // Reads the system's certificates from disk, afresh each time: one
            // that the operator adds counts without a restart.
            let beside = relay.authorities.clone();
            let verifier =
                tokio::task::spawn_blocking(move || Verifier::new_with_extra_roots(beside, provider));
            let verifier = verifier
                .await
                .map_err(|_| "the system's certificates cannot be read".to_owned())?
                .map_err(|error| error.to_string())?;
            // `dangerous` is any verifier but rustls' own; this one is its makers'.
            config.dangerous().with_custom_certificate_verifier(Arc::new(verifier)).with_no_client_auth()
        }
    };
    let secured = client.into_tls(&Arc::new(config).into(), &relay.host).await;
    secured.map(|client| client.stream).map_err(|error| error.to_string())
}
