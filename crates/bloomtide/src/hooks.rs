//! What hooks are called by: the guarded client, which asks public addresses alone
//! and what the operator allows, and follows no redirect.

use std::time::Duration;

use alerts::hook::{Carried, Carrier, Carrying, Post};
use anyhow::Context;
use reqwest::{Method, Response, Url};
use weather::feeds::reach::{Client, Reach, Redirects};

/// Longest wait for a connection.
const CONNECT: Duration = Duration::from_secs(5);

/// Longest wait for a whole answer, connecting included.
const WHOLE: Duration = Duration::from_secs(20);

/// Bytes of an answer that are read: enough for a sentence that says what is wrong.
const SAID: usize = 512;

/// Calls hooks over the network.
#[derive(Debug, Clone)]
pub struct Caller {
    client: Client,
    /// Hosts that may be called wherever they are, and without https.
    allowed: Vec<String>,
}

impl Caller {
    /// One that calls public addresses and the hosts in `allowed`, each as `host` or
    /// `host:port`.
    ///
    /// # Errors
    /// When an allowed host is none, or the system has no certificates to know
    /// receivers by.
    pub fn new(allowed: &[String]) -> anyhow::Result<Caller> {
        // Two installations of the same provider do no harm.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let builder = reqwest::Client::builder()
            .user_agent(concat!("bloomtide/", env!("CARGO_PKG_VERSION")))
            .connect_timeout(CONNECT)
            .timeout(WHOLE);
        let reach = Reach::new(allowed).context("--allow-hook-hosts")?;
        let client = reach.client(builder, Redirects::Never).context(
            "hooks: no client can be made (are the system's certificates installed, as Debian's \
             ca-certificates has them?)",
        )?;
        Ok(Caller { client, allowed: allowed.iter().map(|host| host.trim().to_ascii_lowercase()).collect() })
    }

    /// Whether an address may be called, as far as that can be told without looking
    /// up its name.
    ///
    /// # Errors
    /// With the reason.
    pub fn check(&self, url: &str) -> Result<(), String> {
        self.read(url).map(|_| ())
    }

    fn read(&self, text: &str) -> Result<Url, String> {
        let url: Url = text.parse().map_err(|error| {
            format!("`{text}` is no address ({error}); expected one like https://host/path")
        })?;
        if !url.username().is_empty() || url.password().is_some() {
            return Err("has a name or a password in it; calls are known by their signature".into());
        }
        self.client.reach().check(&url).map_err(|refused| refused.to_string())?;
        if url.scheme() == "http" && !self.allows(&url) {
            return Err(format!("`{text}` begins with http:; expected https://, so that nobody reads along"));
        }
        Ok(url)
    }

    fn allows(&self, url: &Url) -> bool {
        let host = url.host_str().unwrap_or_default();
        let with_port = format!("{host}:{}", url.port_or_known_default().unwrap_or_default());
        self.allowed.iter().any(|allowed| allowed == host || *allowed == with_port)
    }

    async fn send(&self, post: &Post) -> Result<Carried, String> {
        let url = self.read(&post.url)?;
        let mut request = self.client.request(Method::POST, url).map_err(|refused| refused.to_string())?;
        for (name, value) in &post.headers {
            request = request.header(*name, value);
        }
        let answer = request.body(post.body.clone()).send().await.map_err(|error| causes(&error))?;
        let status = answer.status().as_u16();
        Ok(Carried::Answered { status, said: said(answer).await })
    }
}

impl Carrier for Caller {
    fn carry<'a>(&'a self, post: &'a Post) -> Carrying<'a> {
        Box::pin(async { self.send(post).await.unwrap_or_else(Carried::Failed) })
    }
}

/// The begin of an answer's body; what breaks off or does not end counts as far as
/// it came.
async fn said(mut answer: Response) -> String {
    let mut said = Vec::new();
    while said.len() < SAID {
        match answer.chunk().await {
            Ok(Some(chunk)) => said.extend_from_slice(&chunk),
            _ => break,
        }
    }
    said.truncate(SAID);
    String::from_utf8_lossy(&said).into_owned()
}

/// What went wrong and what lies behind it, without the address: it may hold a key.
fn causes(error: &reqwest::Error) -> String {
    let mut told = if error.is_timeout() { "no answer came in time" } else { "no answer came" }.to_owned();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        let cause_told = cause.to_string();
        if !told.contains(&cause_told) {
            told = format!("{told}: {cause_told}");
        }
        source = cause.source();
    }
    told
}
