//! Paths under which nothing is served, for whoever comes with a browser: programs have
//! the API's answer, a person a page that can be read.

use axum::extract::Request;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

use crate::words::english;
use crate::{guard, pages};

/// Around all that is served, the API too: where it has nothing under a path that a
/// browser asks for as a page, the answer is a page.
pub async fn nowhere(request: Request, next: Next) -> Response {
    let asked = asks_for_a_page(request.method(), request.uri().path(), request.headers());
    let response = next.run(request).await;
    if !asked || response.status() != StatusCode::NOT_FOUND || !is_a_problem(response.headers()) {
        return response;
    }
    let mut page = pages::refused(StatusCode::NOT_FOUND, english().get("nowhere.said"));
    guard::protect(page.headers_mut());
    page
}

/// Whether a person is to read the answer. What lies under `/api` is for programs, also
/// where someone looks at it in a browser.
fn asks_for_a_page(method: &Method, path: &str, headers: &HeaderMap) -> bool {
    let takes = headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok()).unwrap_or_default();
    let of_programs = path == "/api" || path.starts_with("/api/");
    method == Method::GET && takes.contains("text/html") && !of_programs
}

/// As the API says that something is not there.
fn is_a_problem(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    kind.is_some_and(|kind| kind.starts_with("application/problem+json"))
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    #[test]
    fn browsers_are_shown_a_page_and_programs_are_not() {
        let asks = |method: Method, path: &str, takes: &'static str| {
            let headers = HeaderMap::from_iter([(header::ACCEPT, HeaderValue::from_static(takes))]);
            asks_for_a_page(&method, path, &headers)
        };
        let browser = "text/html,application/xhtml+xml,*/*;q=0.8";
        assert!(asks(Method::GET, "/nowhere", browser) && asks(Method::GET, "/apical", browser));
        assert!(!asks(Method::GET, "/api/v1/nowhere", browser) && !asks(Method::GET, "/api", browser));
        assert!(!asks(Method::POST, "/nowhere", browser) && !asks(Method::GET, "/nowhere", "*/*"));
    }
}
