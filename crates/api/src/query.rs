//! Parameters of the query, each asked for by name; what nobody asked for is a
//! fault, as it is in a body.

use axum::extract::{FromRequestParts, Query as AxumQuery};
use axum::http::request::Parts;
use model::time::Instant;

use crate::limits;
use crate::problem::{Problem, Wrong};

/// The parameters with what was found wrong with them.
pub(crate) struct Query {
    pairs: Vec<(String, String)>,
    asked: Vec<&'static str>,
    wrong: Vec<Wrong>,
}

impl<S: Send + Sync> FromRequestParts<S> for Query {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Query, Problem> {
        let pairs = AxumQuery::<Vec<(String, String)>>::from_request_parts(parts, state)
            .await
            .map_err(|_| Problem::broken_off("The query of the address cannot be read."))?;
        Ok(Query { pairs: pairs.0, asked: Vec::new(), wrong: Vec::new() })
    }
}

impl Query {
    fn fault(&mut self, name: &'static str, detail: impl Into<String>) {
        self.wrong.push(Wrong { pointer: None, parameter: Some(name), detail: detail.into() });
    }

    /// A text, when the parameter is there.
    pub(crate) fn text(&mut self, name: &'static str) -> Option<String> {
        self.asked.push(name);
        let mut given = self.pairs.iter().filter(|(key, _)| key == name).map(|(_, value)| value.clone());
        let first = given.next();
        if given.next().is_some() {
            drop(given);
            self.fault(name, "stands more than once");
            return None;
        }
        drop(given);
        first
    }

    /// A moment in RFC 3339.
    pub(crate) fn instant(&mut self, name: &'static str) -> Option<Instant> {
        match Instant::parse(&self.text(name)?) {
            Ok(at) => Some(at),
            Err(error) => {
                // In a query a plus sign means a blank.
                self.fault(name, format!("{error}; write + as %2B in an address"));
                None
            }
        }
    }

    /// How many to list.
    pub(crate) fn limit(&mut self, default: u32, most: u32) -> u32 {
        let Some(text) = self.text("limit") else { return default };
        match text.parse() {
            Ok(limit) if (1..=most).contains(&limit) => limit,
            _ => {
                self.fault("limit", format!("`{text}` is not a whole number from 1 to {most}"));
                default
            }
        }
    }

    /// `after` and `limit` of a list by id.
    pub(crate) fn page(&mut self) -> (Option<String>, u32) {
        (self.text("after"), self.limit(limits::PAGE, limits::LONGEST_PAGE))
    }

    /// One of a few words.
    pub(crate) fn word(&mut self, name: &'static str, words: &[&'static str]) -> Option<&'static str> {
        let text = self.text(name)?;
        let word = words.iter().find(|word| **word == text).copied();
        if word.is_none() {
            self.fault(name, format!("`{text}` is not known; expected one of: {}", words.join(", ")));
        }
        word
    }

    /// Refuses the request when anything was wrong, or not asked for.
    pub(crate) fn finish(mut self) -> Result<(), Problem> {
        for (key, _) in &self.pairs {
            if !self.asked.contains(&key.as_str()) {
                let known = if self.asked.is_empty() { "none".to_owned() } else { self.asked.join(", ") };
                let detail = format!("parameter `{key}` is not one of this path; known: {known}");
                self.wrong.push(Wrong { pointer: None, parameter: None, detail });
            }
        }
        if self.wrong.is_empty() { Ok(()) } else { Err(Problem::invalid(self.wrong)) }
    }
}
