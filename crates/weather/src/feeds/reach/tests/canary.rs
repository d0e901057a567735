//! A server that nobody may come to.

use std::io::ErrorKind;
use std::net::TcpListener;

use wiremock::{Mock, MockServer, Request, ResponseTemplate, matchers};

use super::forms;
use super::*;

/// Listens on all addresses of this machine and answers nobody.
struct Canary {
    listeners: Vec<TcpListener>,
    port: u16,
}

impl Canary {
    fn new() -> Canary {
        let four = TcpListener::bind("0.0.0.0:0").unwrap();
        let port = four.local_addr().unwrap().port();
        // Where there is IPv6, there as well.
        let six = TcpListener::bind(format!("[::1]:{port}")).ok();
        let listeners: Vec<TcpListener> = [Some(four), six].into_iter().flatten().collect();
        for listener in &listeners {
            listener.set_nonblocking(true).unwrap();
        }
        Canary { listeners, port }
    }

    /// Who came since the last look. A connection stands in the listener's queue
    /// as soon as whoever opened it knows of it.
    fn visits(&self) -> usize {
        let waiting = |listener: &TcpListener| {
            std::iter::from_fn(|| match listener.accept() {
                Ok(_) => Some(()),
                Err(error) => {
                    assert_eq!(error.kind(), ErrorKind::WouldBlock);
                    None
                }
            })
            .count()
        };
        self.listeners.iter().map(waiting).sum()
    }
}

fn client(reach: &Reach) -> Client {
    // Another test may have installed it.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let builder = reqwest::Client::builder().timeout(std::time::Duration::from_millis(500));
    reach.client(builder, Redirects::Anywhere).unwrap()
}

/// Why a request was not answered.
fn reason(error: &(dyn std::error::Error + 'static)) -> Option<Refused> {
    let all = std::iter::successors(Some(error), |error| error.source());
    all.filter_map(|error| error.downcast_ref::<Refused>()).next().cloned()
}

#[tokio::test]
async fn the_canary_sings_when_it_is_named() {
    let canary = Canary::new();
    let named = client(&reach(&["127.0.0.1"]).unwrap());
    let url = Url::parse(&format!("http://127.0.0.1:{}/", canary.port)).unwrap();
    assert!(named.get(url).unwrap().send().await.unwrap_err().is_timeout());
    assert_eq!(canary.visits(), 1);
}

#[tokio::test]
async fn no_form_of_its_address_leads_to_it() {
    let canary = Canary::new();
    let client = client(&reach(&["127.0.0.1:9"]).unwrap());
    for form in forms::all() {
        let url = format!("http://{form}:{}/", canary.port);
        let Ok(url) = Url::parse(&url) else { continue };
        let refused = client.get(url).unwrap_err();
        assert!(matches!(refused, Refused::NotPublic { .. } | Refused::Port { .. }), "{form}: {refused}");
    }
    assert_eq!(canary.visits(), 0);
}

#[tokio::test]
async fn no_redirect_leads_to_it() {
    let canary = Canary::new();
    let forms = forms::all();
    let places: Vec<String> = forms
        .iter()
        .map(|form| format!("http://{form}:{}/", canary.port))
        .filter(|url| Url::parse(url).is_ok())
        .chain([format!("//127.0.0.1:{}/", canary.port), format!("http://localhost:{}/", canary.port)])
        .filter(|place| place.parse::<reqwest::header::HeaderValue>().is_ok())
        .collect();
    let server = MockServer::start().await;
    let shown = places.clone();
    Mock::given(matchers::any())
        .respond_with(move |request: &Request| {
            let number: usize = request.url.path().trim_start_matches('/').parse().unwrap();
            ResponseTemplate::new(307).insert_header("location", shown[number].as_str())
        })
        .mount(&server)
        .await;
    let address = server.address();
    let client = client(&reach(&[&address.to_string()]).unwrap());
    for (number, place) in places.iter().enumerate() {
        let url = Url::parse(&format!("http://{address}/{number}")).unwrap();
        let error = client.get(url).unwrap().send().await.unwrap_err();
        let refused = reason(&error);
        assert!(
            matches!(refused, Some(Refused::NotPublic { .. } | Refused::Port { .. })),
            "{place}: {error:?}"
        );
    }
    assert_eq!(server.received_requests().await.unwrap().len(), places.len());
    assert_eq!(canary.visits(), 0);
}

#[tokio::test]
async fn no_name_leads_to_it() {
    let canary = Canary::new();
    let answers: &[&[&str]] =
        &[&["127.0.0.1"], &["::1", "127.0.0.1"], &["0.0.0.0"], &["::ffff:127.0.0.1"], &["::"]];
    let reach = Reach::with_names(&[], Swinging::names(answers)).unwrap();
    let client = client(&reach);
    // Once more than there are answers: what comes then is the last word.
    for _ in 0..=answers.len() {
        let url = Url::parse(&format!("http://weather.example:{}/", canary.port)).unwrap();
        let error = client.get(url).unwrap().send().await.unwrap_err();
        assert!(matches!(reason(&error), Some(Refused::NotPublic { .. })), "{error:?}");
    }
    for name in ["localhost", "LOCALHOST.", "a.localhost"] {
        let client = super::canary::client(&super::reach(&[]).unwrap());
        let url = Url::parse(&format!("http://{name}:{}/", canary.port)).unwrap();
        assert!(client.get(url).unwrap().send().await.is_err(), "{name}");
    }
    assert_eq!(canary.visits(), 0);
}
