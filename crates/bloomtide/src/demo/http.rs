//! The demo's own way to its API: what a client from outside would do.

use std::net::SocketAddr;

use anyhow::{Context, bail};
use serde_json::Value;

/// A client with a token.
pub(super) struct Api {
    client: reqwest::Client,
    base: String,
    token: String,
}

impl Api {
    pub(super) fn new(address: SocketAddr, token: &str) -> anyhow::Result<Api> {
        Ok(Api {
            client: reqwest::Client::builder().no_proxy().build()?,
            base: format!("http://{address}/api/v1"),
            token: token.to_owned(),
        })
    }

    pub(super) async fn get(&self, path: &str) -> anyhow::Result<Value> {
        self.ask(self.client.get(format!("{}/{path}", self.base)), path).await
    }

    pub(super) async fn post(&self, path: &str, body: &Value) -> anyhow::Result<Value> {
        self.ask(self.client.post(format!("{}/{path}", self.base)).json(body), path).await
    }

    pub(super) async fn put(&self, path: &str, body: &Value) -> anyhow::Result<Value> {
        self.ask(self.client.put(format!("{}/{path}", self.base)).json(body), path).await
    }

    async fn ask(&self, request: reqwest::RequestBuilder, path: &str) -> anyhow::Result<Value> {
        let answer = request.bearer_auth(&self.token).send().await.with_context(|| path.to_owned())?;
        let status = answer.status();
        let body: Value = answer.json().await.with_context(|| path.to_owned())?;
        if !status.is_success() {
            bail!("{path}: {status}: {body}");
        }
        Ok(body)
    }
}
