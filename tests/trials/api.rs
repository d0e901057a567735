//! A client of the API that lives on when the service does not.

use std::time::Duration;

use serde_json::Value;

/// Longest wait for an answer: one that stopped gives none.
const PATIENCE: Duration = Duration::from_secs(20);

/// Why there is no answer, or none that can be used.
#[derive(Debug)]
pub(crate) enum Lost {
    /// The service went away.
    Gone,
    /// It said that it could not (5xx).
    Failed,
}

/// A client of the API.
#[derive(Clone)]
pub(crate) struct Api {
    client: reqwest::Client,
    pub(crate) base: String,
    token: String,
}

impl Api {
    pub(crate) fn new(base: &str, token: &str) -> Api {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let client = reqwest::Client::builder().no_proxy().timeout(PATIENCE).build().unwrap();
        Api { client, base: base.to_owned(), token: token.to_owned() }
    }

    pub(crate) async fn try_get(&self, path: &str) -> Result<Value, Lost> {
        self.ask(self.client.get(format!("{}/{path}", self.base))).await
    }

    pub(crate) async fn try_post(&self, path: &str, body: &Value) -> Result<Value, Lost> {
        self.ask(self.client.post(format!("{}/{path}", self.base)).json(body)).await
    }

    pub(crate) async fn get(&self, path: &str) -> Value {
        self.try_get(path).await.unwrap()
    }

    pub(crate) async fn post(&self, path: &str, body: Value) -> Value {
        self.try_post(path, &body).await.unwrap()
    }

    pub(crate) async fn put(&self, path: &str, body: Value) -> Value {
        self.ask(self.client.put(format!("{}/{path}", self.base)).json(&body)).await.unwrap()
    }

    pub(crate) async fn upload(&self, path: &str, csv: String) -> Value {
        let request =
            self.client.post(format!("{}/{path}", self.base)).header("content-type", "text/csv").body(csv);
        self.ask(request).await.unwrap()
    }

    /// All items of a list, page by page.
    pub(crate) async fn all(&self, list: &str) -> Vec<Value> {
        let mut items: Vec<Value> = Vec::new();
        let mut path = format!("{list}?limit=500");
        loop {
            let page = self.get(&path).await;
            items.extend(page["items"].as_array().unwrap().iter().cloned());
            match page["next"].as_str() {
                Some(after) => path = format!("{list}?limit=500&after={after}"),
                None => return items,
            }
        }
    }

    async fn ask(&self, request: reqwest::RequestBuilder) -> Result<Value, Lost> {
        let answer = request.bearer_auth(&self.token).send().await.map_err(|_| Lost::Gone)?;
        let status = answer.status();
        let body: Value = answer.json().await.map_err(|_| Lost::Gone)?;
        if status.is_server_error() {
            return Err(Lost::Failed);
        }
        assert!(status.is_success(), "{status}: {body}");
        Ok(body)
    }
}
