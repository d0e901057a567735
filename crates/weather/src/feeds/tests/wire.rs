//! Failures below HTTP: time, certificates; and what is told to the operator.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use rustls::crypto::ring;
use rustls::pki_types::PrivateKeyDer;
use rustls::{ServerConfig, ServerConnection, StreamOwned};

use super::failures::{Tried, all, now, page_of_status};
use super::{local, local_client};
use crate::feeds::{Cause, ClientSettings, FeedError, client, met_norway};

/// A server on this machine, of which each connection is handled so until the
/// test is over; its address without a scheme.
fn serving(handle: impl Fn(std::net::TcpStream) + Send + Sync + 'static) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let handle = Arc::new(handle);
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(Result::ok) {
            let handle = handle.clone();
            std::thread::spawn(move || handle(stream));
        }
    });
    address
}

async fn asked(tried: &Tried, base_url: String, settings: &ClientSettings) -> FeedError {
    let feed = (tried.feed)(base_url, client(settings).unwrap());
    feed.fetch(std::slice::from_ref(&tried.cell), now()).await.unwrap_err()
}

#[tokio::test]
async fn an_answer_that_never_ends_is_given_up() {
    // As many blanks as are taken, one piece after another.
    let address = serving(|mut stream| {
        let _ = stream.read(&mut [0; 4_096]);
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n");
        let mut taken = 0;
        while stream.write_all(b"1\r\n \r\n").is_ok() && taken < 64 {
            taken += 1;
        }
        // Then nothing, until whoever asks hangs up.
        let _ = stream.read(&mut [0; 1]);
    });
    let settings = ClientSettings { total_timeout: Duration::from_millis(300), ..local() };
    for tried in all() {
        let error = asked(&tried, format!("http://{address}"), &settings).await;
        assert!(matches!(error.cause, Cause::TimedOut(_)), "{error}");
    }
}

/// A server that shows a certificate of its own, good until a year.
fn protected(until: i32) -> String {
    let key = rcgen::KeyPair::generate().unwrap();
    let mut about = rcgen::CertificateParams::new(["127.0.0.1".to_owned()]).unwrap();
    about.not_before = rcgen::date_time_ymd(2001, 1, 1);
    about.not_after = rcgen::date_time_ymd(until, 1, 1);
    let certificate = about.self_signed(&key).unwrap().der().clone();
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![certificate], PrivateKeyDer::try_from(key.serialize_der()).unwrap())
        .unwrap();
    let config = Arc::new(config);
    serving(move |stream| {
        let session = ServerConnection::new(config.clone()).unwrap();
        let mut stream = StreamOwned::new(session, stream);
        let _ = stream.read(&mut [0; 4_096]);
        let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}");
    })
}

#[tokio::test]
async fn a_server_without_a_good_certificate_is_not_believed() {
    let (over, unknown) = (protected(2002), protected(2999));
    for tried in all() {
        for (address, expected) in [(&over, "expired"), (&unknown, "UnknownIssuer")] {
            let error = asked(&tried, format!("https://{address}"), &local()).await;
            assert!(matches!(error.cause, Cause::Unreachable(_)), "{error}");
            let words = error.to_string();
            assert!(words.contains("certificate") && words.contains(expected), "{words}");
        }
    }
}

#[tokio::test]
async fn a_name_that_leads_in_here_is_not_asked() {
    let _ = local_client();
    for tried in all() {
        let error = asked(&tried, "http://localhost:9".to_owned(), &ClientSettings::default()).await;
        assert!(matches!(error.cause, Cause::OffLimits(_)), "{error}");
        assert!(error.to_string().contains("name localhost among the allowed hosts"), "{error}");
    }
}

/// What was written about a product on its way out.
#[derive(Clone, Default)]
struct Notes(Arc<Mutex<Vec<u8>>>);

impl Write for Notes {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn a_product_on_its_way_out_is_told_to_the_operator() {
    let all = all();
    let met = all.iter().find(|tried| tried.provider == met_norway::PROVIDER).unwrap();
    for (status, warned) in [(200, false), (203, true)] {
        let notes = Notes::default();
        let writer = notes.clone();
        let subscriber = tracing_subscriber::fmt().with_writer(move || writer.clone()).finish();
        let listening = tracing::subscriber::set_default(subscriber);
        met.changed(0, |body| page_of_status(status, body)).await.unwrap();
        drop(listening);
        let said = String::from_utf8(notes.0.lock().unwrap().clone()).unwrap();
        assert_eq!(said.contains("WARN") && said.contains("(203)"), warned, "{said}");
    }
}
