//! Parameters of the query, each asked for by name; what nobody asked for is a
//! fault, as it is in a body.

use axum::extract::{FromRequestParts, OriginalUri, Query as AxumQuery};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, header};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use model::time::Instant;
use sha2::{Digest, Sha256};

use crate::limits;
use crate::problem::{Problem, Wrong};

/// The parameters with what was found wrong with them.
pub(crate) struct Query {
    path: String,
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
        Ok(Query {
            path: parts
                .extensions
                .get::<OriginalUri>()
                .map_or_else(|| parts.uri.path(), |uri| uri.0.path())
                .to_owned(),
            pairs: pairs.0,
            asked: Vec::new(),
            wrong: Vec::new(),
        })
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
    fn limit(&mut self, default: u32, most: u32) -> u32 {
        let Some(text) = self.text("limit") else { return default };
        match text.parse() {
            Ok(limit) if (1..=most).contains(&limit) => limit,
            _ => {
                self.fault("limit", format!("`{text}` is not a whole number from 1 to {most}"));
                default
            }
        }
    }

    /// `after` and `limit` of a list; asked for last, since a cursor belongs to
    /// all other parameters.
    pub(crate) fn page(&mut self) -> Span {
        self.page_of(limits::PAGE, limits::LONGEST_PAGE)
    }

    /// The same for a list with other limits.
    pub(crate) fn page_of(&mut self, default: u32, most: u32) -> Span {
        let limit = self.limit(default, most);
        let given = self.text("after");
        let mut others: Vec<(String, String)> = self
            .pairs
            .iter()
            .filter(|(name, _)| !["after", "limit"].contains(&name.as_str()))
            .cloned()
            .collect();
        others.sort();
        let mut span = Span { path: self.path.clone(), others, limit, after: None };
        if let Some(given) = given {
            span.after = span.opened(&given);
            if span.after.is_none() {
                self.fault(
                    "after",
                    format!("`{given}` is not the `next` of a page of this very list; begin without it"),
                );
            }
        }
        span
    }

    /// Whether CSV is asked for, by `format` or by what is accepted.
    pub(crate) fn csv(&mut self, headers: &HeaderMap) -> bool {
        let format = self.word("format", &["json", "csv"]);
        format.map_or_else(|| asks_for_csv(headers), |format| format == "csv")
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

/// A stretch of a list.
#[derive(Debug)]
pub(crate) struct Span {
    path: String,
    /// The parameters that say which list it is.
    others: Vec<(String, String)>,
    /// How many.
    pub(crate) limit: u32,
    after: Option<String>,
}

/// Bytes of a cursor that tell of which list it is.
const OF_LIST: usize = 6;

impl Span {
    /// The place to go on behind.
    pub(crate) fn after(&self) -> Option<&str> {
        self.after.as_deref()
    }

    /// Cuts rows, of which one more than asked for was read, to the page, and gives
    /// the cursor of the one that follows.
    pub(crate) fn cut<T>(&self, rows: &mut Vec<T>, place: impl Fn(&T) -> String) -> Option<String> {
        let more = rows.len() > self.limit as usize;
        rows.truncate(self.limit as usize);
        rows.last().filter(|_| more).map(|last| self.cursor(&place(last)))
    }

    fn of_list(&self) -> [u8; OF_LIST] {
        let hash = Sha256::new_with_prefix(format!("{}?{:?}", self.path, self.others)).finalize();
        let mut first = [0; OF_LIST];
        first.copy_from_slice(&hash[..OF_LIST]);
        first
    }

    /// A place in the list as clients get it: of this list alone, and with
    /// nothing to read in it.
    pub(crate) fn cursor(&self, place: &str) -> String {
        URL_SAFE_NO_PAD.encode([self.of_list().as_slice(), place.as_bytes()].concat())
    }

    fn opened(&self, cursor: &str) -> Option<String> {
        let bytes = URL_SAFE_NO_PAD.decode(cursor).ok()?;
        let place = bytes.strip_prefix(self.of_list().as_slice())?;
        String::from_utf8(place.to_vec()).ok()
    }

    /// Writes where the next page stands.
    pub(crate) fn write_link(&self, next: &str, headers: &mut HeaderMap) {
        if let Ok(link) = HeaderValue::from_str(&self.link(next)) {
            headers.insert(header::LINK, link);
        }
    }

    /// The address of the page behind a cursor, as RFC 8288 writes it.
    pub(crate) fn link(&self, next: &str) -> String {
        let mut address = form_urlencoded::Serializer::new(String::new());
        for (name, value) in &self.others {
            address.append_pair(name, value);
        }
        address.append_pair("limit", &self.limit.to_string()).append_pair("after", next);
        format!("<{}?{}>; rel=\"next\"", self.path, address.finish())
    }
}

/// Whether CSV is accepted and named before JSON.
fn asks_for_csv(headers: &HeaderMap) -> bool {
    let accept = headers.get_all(header::ACCEPT).iter().filter_map(|value| value.to_str().ok());
    let types = accept.flat_map(|value| value.split(','));
    let mut known = types.filter_map(|range| match range.split(';').next().unwrap_or_default().trim() {
        "text/csv" => Some(true),
        "application/json" => Some(false),
        _ => None,
    });
    known.next().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cursor_belongs_to_its_list() {
        let span = |path: &str, others: &[(&str, &str)]| Span {
            path: path.into(),
            others: others.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect(),
            limit: 2,
            after: None,
        };
        let blocks = span("/api/v1/blocks", &[("farm_id", "alder")]);
        let cursor = blocks.cursor("bench-2");
        assert_eq!(blocks.opened(&cursor).as_deref(), Some("bench-2"));
        assert_eq!(span("/api/v1/blocks", &[]).opened(&cursor), None);
        assert_eq!(span("/api/v1/sites", &[("farm_id", "alder")]).opened(&cursor), None);
        assert_eq!(blocks.opened("bench-2"), None);
        let link = blocks.link(&cursor);
        assert!(link.starts_with("</api/v1/blocks?farm_id=alder&limit=2&after="), "{link}");
        assert!(link.ends_with(">; rel=\"next\""), "{link}");
    }

    fn asks(accept: &[&'static str]) -> bool {
        let mut headers = HeaderMap::new();
        for value in accept {
            headers.append(header::ACCEPT, value.parse().unwrap());
        }
        asks_for_csv(&headers)
    }

    #[test]
    fn csv_is_given_to_those_who_name_it_first() {
        assert!(asks(&["text/csv"]));
        assert!(asks(&["text/html, text/csv;q=0.9", "application/json"]));
        assert!(!asks(&[]) && !asks(&["*/*"]) && !asks(&["application/json, text/csv"]));
    }
}
