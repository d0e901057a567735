//! What fills the orchard: the API, forms as a browser sends them, and the mails.

use std::path::Path;

use black_box::program::{bytes, eventually};
use mail_parser::MessageParser;
use reqwest::header::CONTENT_TYPE;
use reqwest::{Client, RequestBuilder};
use serde_json::Value;

/// A client with a token that works for everything.
pub(crate) struct Api {
    client: Client,
    server: String,
    token: String,
}

impl Api {
    pub(crate) fn new(server: &str, token: &str) -> Api {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let never = reqwest::redirect::Policy::none();
        // Tests share the orchard, each on a runtime of its own: a connection that is kept
        // ends with the one that made it.
        let client = Client::builder().no_proxy().redirect(never).pool_max_idle_per_host(0).build().unwrap();
        Api { client, server: server.to_owned(), token: token.to_owned() }
    }

    pub(crate) async fn get(&self, path: &str) -> Value {
        self.ask(self.client.get(self.url(path))).await
    }

    /// What stands there; none where nothing does.
    pub(crate) async fn find(&self, path: &str) -> Option<Value> {
        let answer = self.client.get(self.url(path)).bearer_auth(&self.token).send().await.unwrap();
        if answer.status().is_success() { Some(answer.json().await.unwrap()) } else { None }
    }

    pub(crate) async fn post(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.post(self.url(path)).json(&body)).await
    }

    pub(crate) async fn put(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.put(self.url(path)).json(&body)).await
    }

    /// Puts something in the place of what is there, whatever that is.
    pub(crate) async fn set(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.put(self.url(path)).header("if-match", "*").json(&body)).await
    }

    /// Changes fields of what is there, whatever it is.
    pub(crate) async fn change(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.patch(self.url(path)).header("if-match", "*").json(&body)).await
    }

    /// Sends a page's form.
    pub(crate) async fn send(&self, page: &str, fields: &[(&str, &str)]) {
        let fields: Vec<String> =
            fields.iter().map(|(name, value)| format!("{name}={}", value.replace(' ', "+"))).collect();
        let post = self.client.post(format!("{}{page}", self.server)).body(fields.join("&"));
        let post = post.header(CONTENT_TYPE, "application/x-www-form-urlencoded");
        let answer = post.header("sec-fetch-site", "same-origin").send().await.unwrap();
        assert!(answer.status().is_redirection(), "{page}: {}", answer.status());
    }

    fn url(&self, path: &str) -> String {
        format!("{}/api/v1/{path}", self.server)
    }

    async fn ask(&self, request: RequestBuilder) -> Value {
        let answer = request.bearer_auth(&self.token).send().await.unwrap();
        let status = answer.status();
        let body: Value = answer.json().await.unwrap();
        assert!(status.is_success(), "{status}: {body}");
        body
    }
}

/// The address that follows some words in a mail of a folder, once it is there.
pub(crate) async fn link_in(folder: &Path, words: &str) -> String {
    eventually(&format!("a mail with “{words}”"), async || {
        std::fs::read_dir(folder).ok()?.find_map(|file| {
            let file = file.unwrap().path();
            if file.extension().is_none_or(|ending| ending != "eml") {
                return None;
            }
            let mail = bytes(&file);
            let text = MessageParser::default().parse(&mail)?.body_text(0)?.into_owned();
            let (_, link) = text.split_once(words)?;
            link.split_whitespace().next().map(str::to_owned)
        })
    })
    .await
}
