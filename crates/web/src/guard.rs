//! What holds for every page: how the request came in, that what is sent comes
//! from our own pages, and headers that keep secrets in.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::words::english;
use crate::{Web, pages};

/// How a request came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct WayIn {
    /// The client's address.
    pub(crate) client: IpAddr,
    /// Whether what is said stays between client and server.
    pub(crate) privacy: Privacy,
}

/// Who could listen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Privacy {
    /// HTTPS.
    Https,
    /// Plain HTTP that never leaves this machine.
    Loopback,
    /// Plain HTTP over a network.
    Open,
}

impl WayIn {
    /// The client's place, by which attempts are counted: of IPv6 its network of
    /// 64 bits, since one client has all of that.
    pub(crate) fn place(&self) -> String {
        match self.client {
            IpAddr::V4(address) => address.to_string(),
            IpAddr::V6(address) => {
                let [a, b, c, d, ..] = address.segments();
                format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
            }
        }
    }
}

impl Privacy {
    /// The cookie's name. `__Host-` binds it to HTTPS and this very host; a
    /// browser takes no such cookie over plain HTTP, so loopback has another.
    pub(crate) fn cookie(self) -> Option<&'static str> {
        match self {
            Privacy::Https => Some("__Host-bloomtide"),
            Privacy::Loopback => Some("bloomtide-local"),
            Privacy::Open => None,
        }
    }
}

/// Finds out how the request came in, for the handlers.
pub(crate) async fn way_in(State(web): State<Web>, mut request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|info| info.0.ip());
    let Some(peer) = peer else {
        tracing::error!("a request without its client's address");
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let way = of(peer, request.headers(), request.uri(), &web.trusted_proxies);
    request.extensions_mut().insert(way);
    next.run(request).await
}

fn of(peer: IpAddr, headers: &HeaderMap, uri: &Uri, trusted: &[IpAddr]) -> WayIn {
    let peer = peer.to_canonical();
    if trusted.contains(&peer) {
        // Each proxy adds the one it saw at the end: the last that is no proxy
        // of ours is the client, whatever stands before it.
        let chain = headers.get_all("x-forwarded-for").iter().filter_map(|value| value.to_str().ok());
        let hops: Vec<IpAddr> = chain
            .flat_map(|value| value.split(','))
            .filter_map(|hop| hop.trim().parse::<IpAddr>().ok())
            .map(|hop| hop.to_canonical())
            .collect();
        let client = hops.iter().rev().find(|hop| !trusted.contains(hop)).copied().unwrap_or(peer);
        let https = headers.get("x-forwarded-proto").is_some_and(|proto| proto == "https");
        return WayIn { client, privacy: if https { Privacy::Https } else { Privacy::Open } };
    }
    // A proxy on this machine that is not named as trusted also comes from
    // loopback; its clients name another host.
    let here = peer.is_loopback() && host(headers, uri).is_some_and(|host| is_local(&host));
    WayIn { client: peer, privacy: if here { Privacy::Loopback } else { Privacy::Open } }
}

/// Host and port that the client asked for, in small letters.
fn host(headers: &HeaderMap, uri: &Uri) -> Option<String> {
    let named = headers.get(header::HOST).and_then(|host| host.to_str().ok());
    named.or_else(|| uri.authority().map(|authority| authority.as_str())).map(str::to_ascii_lowercase)
}

fn is_local(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name == "localhost" || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

/// Refuses what another site's page sends. Browsers say whose page sends:
/// `Sec-Fetch-Site`, and before it `Origin`.
pub(crate) async fn own_pages_only(request: Request, next: Next) -> Response {
    let safe = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    if safe || is_own(request.headers(), request.uri()) {
        return next.run(request).await;
    }
    pages::refused(StatusCode::FORBIDDEN, english().get("refused.other_site"))
}

fn is_own(headers: &HeaderMap, uri: &Uri) -> bool {
    let said = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?").to_ascii_lowercase());
    if let Some(site) = said("sec-fetch-site") {
        return matches!(site.as_str(), "same-origin" | "none");
    }
    match said("origin") {
        Some(origin) => {
            let of = origin.split_once("://").map(|(_, host)| host.to_owned());
            of.is_some() && of == host(headers, uri)
        }
        // No browser: nothing that a page elsewhere could have sent.
        None => true,
    }
}

/// What a page tells of where it was. Its forms have to say whose they are: under
/// `no-referrer` a browser names no origin, and one that sends no `Sec-Fetch-Site` either
/// would send nothing that is taken. So a page tells its address to this server alone.
const TO_US: &str = "same-origin";
/// One with a secret in its address tells the server's origin and no path to anyone;
/// browsers that do not know how tell nothing.
const ORIGIN_ALONE: &str = "no-referrer, strict-origin";
/// Parameters of paths that are secrets.
const SECRETS: [&str; 2] = ["{secret}", "{mark}"];

/// Pages are kept nowhere, hold nothing of other hosts and nothing written into them, and
/// tell no one else where they were.
pub(crate) async fn headers(request: Request, next: Next) -> Response {
    let path = request.extensions().get::<MatchedPath>().map(|path| path.as_str().to_owned());
    let mut response = next.run(request).await;
    protect(response.headers_mut());
    // What is on no list may be a link that was mistyped.
    if path.is_some_and(|path| SECRETS.iter().all(|secret| !path.contains(secret))) {
        response.headers_mut().insert(header::REFERRER_POLICY, HeaderValue::from_static(TO_US));
    }
    response
}

/// Puts those headers on a page at whatever address.
pub(crate) fn protect(headers: &mut HeaderMap) {
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    for (name, value) in [
        ("referrer-policy", ORIGIN_ALONE),
        ("x-content-type-options", "nosniff"),
        (
            "content-security-policy",
            "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self' data:; \
             manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PROXY: &str = "192.0.2.1";

    fn way(peer: &str, said: &[(&'static str, &str)]) -> (String, Privacy) {
        let mut headers = HeaderMap::new();
        for (name, value) in said {
            headers.append(*name, HeaderValue::from_str(value).unwrap());
        }
        let way = of(peer.parse().unwrap(), &headers, &Uri::from_static("/"), &[PROXY.parse().unwrap()]);
        (way.client.to_string(), way.privacy)
    }

    #[test]
    fn only_a_trusted_proxy_speaks_for_its_client() {
        let https = ("x-forwarded-proto", "https");
        let stranger = way("198.51.100.7", &[https, ("x-forwarded-for", "203.0.113.9")]);
        assert_eq!(stranger, ("198.51.100.7".into(), Privacy::Open));
        let forged = way(PROXY, &[https, ("x-forwarded-for", "10.0.0.1, 203.0.113.9, 192.0.2.1")]);
        assert_eq!(forged, ("203.0.113.9".into(), Privacy::Https));
        assert_eq!(way(PROXY, &[("x-forwarded-proto", "http")]), (PROXY.into(), Privacy::Open));
    }

    #[test]
    fn a_browser_that_names_only_its_origin_is_let_in_by_that() {
        let own = |said: &[(&'static str, &'static str)]| {
            let said = said.iter().map(|(name, value)| {
                (header::HeaderName::from_static(name), HeaderValue::from_static(value))
            });
            is_own(&said.collect(), &Uri::from_static("/sign-in"))
        };
        let host = ("host", "bloom.example");
        assert!(own(&[host, ("origin", "https://bloom.example")]) && own(&[host]));
        for origin in ["null", "https://other.example", "https://bloom.example.other.example"] {
            assert!(!own(&[host, ("origin", origin)]), "{origin}");
        }
        assert!(!own(&[host, ("origin", "https://bloom.example"), ("sec-fetch-site", "cross-site")]));
    }

    #[test]
    fn loopback_is_private_only_to_who_asked_for_it() {
        for host in ["localhost", "localhost:8420", "127.0.0.1:8420", "[::1]:8420"] {
            assert_eq!(way("127.0.0.1", &[("host", host)]).1, Privacy::Loopback, "{host}");
        }
        assert_eq!(way("127.0.0.1", &[("host", "orchard.example")]).1, Privacy::Open);
        assert_eq!(way("::ffff:127.0.0.1", &[("host", "localhost")]).1, Privacy::Loopback);
        assert_eq!(way("198.51.100.7", &[("host", "localhost")]).1, Privacy::Open);
    }
}
