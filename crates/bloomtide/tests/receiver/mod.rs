//! A small HTTP server that takes calls and answers as it was told to.

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use axum::serve::ListenerExt;
use tokio::net::TcpListener;

/// A call as it came.
#[derive(Debug, Clone)]
pub struct Taken {
    pub path: String,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Taken {
    pub fn header(&self, name: &str) -> String {
        self.headers[name].to_str().unwrap().to_owned()
    }
}

/// What it answers with.
#[derive(Clone, Default)]
struct Script {
    /// One after another, then 200.
    statuses: Arc<Mutex<VecDeque<u16>>>,
    location: Option<String>,
    says: String,
    /// It answers only when this one has taken something.
    after: Option<Arc<Mutex<Vec<Taken>>>>,
    taken: Arc<Mutex<Vec<Taken>>>,
}

pub struct Receiver {
    address: SocketAddr,
    script: Script,
    connections: Arc<AtomicUsize>,
}

impl Receiver {
    /// One that answers with these, one after another, and then with 200.
    pub async fn answering(statuses: &[u16]) -> Receiver {
        let statuses = Arc::new(Mutex::new(statuses.iter().copied().collect()));
        Receiver::start(Script { statuses, ..Script::default() }).await
    }

    pub async fn redirecting(status: u16, to: &str) -> Receiver {
        let statuses = Arc::new(Mutex::new([status].into()));
        Receiver::start(Script { statuses, location: Some(to.into()), ..Script::default() }).await
    }

    pub async fn saying(status: u16, says: String) -> Receiver {
        let statuses = Arc::new(Mutex::new([status].into()));
        Receiver::start(Script { statuses, says, ..Script::default() }).await
    }

    pub async fn waiting_for(other: &Receiver) -> Receiver {
        Receiver::start(Script { after: Some(other.script.taken.clone()), ..Script::default() }).await
    }

    async fn start(script: Script) -> Receiver {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let connections = Arc::new(AtomicUsize::new(0));
        let counted = connections.clone();
        let listener = listener.tap_io(move |_| {
            counted.fetch_add(1, Ordering::SeqCst);
        });
        let router = Router::new().fallback(answer).with_state(script.clone());
        tokio::spawn(async move { axum::serve(listener, router).await });
        Receiver { address, script, connections }
    }

    pub fn host(&self) -> String {
        self.address.to_string()
    }

    pub fn port(&self) -> u16 {
        self.address.port()
    }

    pub fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    pub fn taken(&self) -> Vec<Taken> {
        self.script.taken.lock().unwrap().clone()
    }

    /// Connections that were ever made to it.
    pub fn connections(&self) -> usize {
        self.connections.load(Ordering::SeqCst)
    }
}

async fn answer(State(script): State<Script>, uri: Uri, headers: HeaderMap, body: Bytes) -> Response {
    let taken = Taken { path: uri.path().to_owned(), headers, body: body.to_vec() };
    script.taken.lock().unwrap().push(taken);
    if let Some(other) = &script.after {
        while other.lock().unwrap().is_empty() {
            tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        }
    }
    let status = script.statuses.lock().unwrap().pop_front().unwrap_or(200);
    let mut response = (StatusCode::from_u16(status).unwrap(), script.says.clone()).into_response();
    if let Some(location) = &script.location {
        response.headers_mut().insert(header::LOCATION, location.parse().unwrap());
    }
    response
}
