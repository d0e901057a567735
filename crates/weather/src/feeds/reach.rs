//! Which addresses are asked.
//!
//! Addresses come from settings, what a name stands for from a DNS that others
//! write, and a redirect from whoever was asked. None of them may turn a request
//! against the machine itself or the network behind it, so only public addresses
//! are spoken to, and what was named as allowed. Each request is looked at three
//! times:
//!
//! - its address, by [`Client::request`]: scheme, host and port, and of a host
//!   that is an address in itself, in any spelling, the address. No resolver is
//!   asked about those;
//! - what a name stands for, when a connection is made: the addresses that are
//!   left are those connected to, so that a name cannot mean one thing when it
//!   is looked at and another when it is used;
//! - each redirect, like a request.
//!
//! A proxy named by the environment is not used: it would look names up itself.

mod public;

use std::fmt;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use reqwest::redirect::{Action, Attempt, Policy};
use reqwest::{ClientBuilder, Method, RequestBuilder, Url};

pub use public::is_public;

/// Redirects that are followed at most.
pub const MOST_REDIRECTS: usize = 3;

/// Why an address is not asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// An entry among the allowed hosts that is none.
    #[error(
        "allowed hosts: `{0}` is no host; expected one like weather.example, weather.example:8080, \
         192.168.1.5 or [fd00::5]:8080"
    )]
    NoEntry(String),
    /// Neither http nor https.
    #[error("an address that begins with {0}:; expected http:// or https://")]
    Scheme(String),
    /// A host that is allowed, but with another port.
    #[error("{host} is allowed with another port than {port}; name {host}:{port} among the allowed hosts")]
    Port {
        /// The host.
        host: String,
        /// The port that was to be asked.
        port: u16,
    },
    /// An address of this machine or of the network behind it.
    #[error("{}no public address; name {host} among the allowed hosts if it is meant", leads(host, *address))]
    NotPublic {
        /// The host.
        host: String,
        /// Where it is.
        address: IpAddr,
    },
    /// A name that stands for no address.
    #[error("{0} stands for no address")]
    Nowhere(String),
    /// A redirect from https to http.
    #[error("from https to http, at {0}")]
    Unprotected(String),
    /// A redirect to another host, scheme or port.
    #[error("to another address, at {0}")]
    Elsewhere(String),
    /// Redirects without an end.
    #[error("more than {MOST_REDIRECTS} times")]
    InCircles,
}

/// Which redirects are followed, of those that lead to what may be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Redirects {
    /// None: the answer that redirects is the answer.
    Never,
    /// Those on the scheme, host and port that were asked: what goes along, a key
    /// say, is for them alone.
    SameHost,
    /// All but those from https to http.
    Anywhere,
}

/// A host that may be asked wherever it is.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Allowed {
    host: String,
    /// None for any.
    port: Option<u16>,
}

/// What may be asked: all that is public, and what was named.
#[derive(Clone)]
pub struct Reach {
    allowed: Arc<[Allowed]>,
    names: Arc<dyn Resolve>,
}

impl Reach {
    /// Public addresses, and the hosts named in `allowed`, each as `host` or
    /// `host:port`, IPv6 in brackets. A name allows the addresses that it stands
    /// for, an address only itself.
    ///
    /// # Errors
    /// [`Refused::NoEntry`] with the first that is no host.
    pub fn new(allowed: &[String]) -> Result<Reach, Refused> {
        Reach::with_names(allowed, Arc::new(SystemNames))
    }

    /// The same, by another resolver than the system's.
    ///
    /// # Errors
    /// As [`Reach::new`].
    pub fn with_names(allowed: &[String], names: Arc<dyn Resolve>) -> Result<Reach, Refused> {
        let allowed = allowed.iter().map(|entry| Allowed::read(entry)).collect::<Result<_, _>>()?;
        Ok(Reach { allowed, names })
    }

    /// Whether an address may be asked, as far as that can be told without looking
    /// up its name.
    ///
    /// # Errors
    /// With the reason.
    pub fn check(&self, url: &Url) -> Result<(), Refused> {
        if !matches!(url.scheme(), "http" | "https") {
            return Err(Refused::Scheme(url.scheme().to_owned()));
        }
        let host = url.host_str().map(bare).unwrap_or_default();
        let port = url.port_or_known_default().unwrap_or_default();
        let mut named = self.allowed.iter().filter(|allowed| allowed.host == host).peekable();
        if named.peek().is_some() {
            return match named.any(|allowed| allowed.port.is_none_or(|only| only == port)) {
                true => Ok(()),
                // Its name would be looked up as an allowed one, so not even if public.
                false => Err(Refused::Port { host, port }),
            };
        }
        match host.parse::<IpAddr>() {
            Ok(address) if !is_public(address) => Err(Refused::NotPublic { host, address }),
            _ => Ok(()),
        }
    }

    /// Finishes a client that asks nothing else and follows these redirects.
    ///
    /// # Errors
    /// When the client cannot be built.
    pub fn client(&self, builder: ClientBuilder, redirects: Redirects) -> Result<Client, reqwest::Error> {
        let reach = self.clone();
        let policy = match redirects {
            Redirects::Never => Policy::none(),
            _ => Policy::custom(move |attempt| reach.follow(attempt, redirects)),
        };
        let client = builder
            .dns_resolver(Arc::new(Checked(self.clone())))
            .redirect(policy)
            .referer(false)
            .no_proxy()
            .build()?;
        Ok(Client { client, reach: self.clone() })
    }

    fn follow(&self, attempt: Attempt<'_>, redirects: Redirects) -> Action {
        match self.may_follow(attempt.previous(), attempt.url(), redirects) {
            Ok(()) => attempt.follow(),
            Err(refused) => attempt.error(refused),
        }
    }

    fn may_follow(&self, before: &[Url], next: &Url, redirects: Redirects) -> Result<(), Refused> {
        let host = || next.host_str().unwrap_or("nowhere").to_owned();
        let place =
            |url: &Url| (url.scheme().to_owned(), url.host_str().map(bare), url.port_or_known_default());
        if redirects == Redirects::SameHost && before.first().map(place) != Some(place(next)) {
            return Err(Refused::Elsewhere(host()));
        }
        if before.last().is_some_and(|url| url.scheme() == "https") && next.scheme() == "http" {
            return Err(Refused::Unprotected(host()));
        }
        self.check(next)?;
        if before.len() > MOST_REDIRECTS { Err(Refused::InCircles) } else { Ok(()) }
    }

    /// The addresses of a name that may be connected to.
    fn kept(&self, name: &str, found: Vec<SocketAddr>) -> Result<Vec<SocketAddr>, Refused> {
        let host = bare(name);
        if found.is_empty() {
            return Err(Refused::Nowhere(host));
        }
        if self.allowed.iter().any(|allowed| allowed.host == host) {
            return Ok(found);
        }
        let (kept, left): (Vec<_>, Vec<_>) = found.into_iter().partition(|place| is_public(place.ip()));
        match left.first() {
            Some(place) if kept.is_empty() => Err(Refused::NotPublic { host, address: place.ip() }),
            _ => Ok(kept),
        }
    }
}

impl fmt::Debug for Reach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Reach").field("allowed", &self.allowed).finish_non_exhaustive()
    }
}

impl Allowed {
    fn read(entry: &str) -> Result<Allowed, Refused> {
        let fault = || Refused::NoEntry(entry.to_owned());
        let text = entry.trim();
        if text.contains(|sign: char| sign.is_whitespace() || "/\\?#@*%,".contains(sign)) {
            return Err(fault());
        }
        // A port that is the scheme's own is not told, so both are asked.
        let read = |scheme: &str| Url::parse(&format!("{scheme}://{text}/")).map_err(|_| fault());
        let (plain, protected) = (read("http")?, read("https")?);
        let host = plain.host_str().map(bare).filter(|host| !host.is_empty()).ok_or_else(fault)?;
        Ok(Allowed { host, port: plain.port().or(protected.port()) })
    }
}

/// A client that asks only what a [`Reach`] lets it.
#[derive(Debug, Clone)]
pub struct Client {
    client: reqwest::Client,
    reach: Reach,
}

impl Client {
    /// Begins a request.
    ///
    /// # Errors
    /// When the address is not one to be asked.
    pub fn request(&self, method: Method, url: Url) -> Result<RequestBuilder, Refused> {
        self.reach.check(&url)?;
        Ok(self.client.request(method, url))
    }

    /// Begins a GET.
    ///
    /// # Errors
    /// When the address is not one to be asked.
    pub fn get(&self, url: Url) -> Result<RequestBuilder, Refused> {
        self.request(Method::GET, url)
    }

    /// What it may ask.
    pub fn reach(&self) -> &Reach {
        &self.reach
    }
}

/// A host and where it leads, as the begin of a sentence.
fn leads(host: &str, address: IpAddr) -> String {
    if host == address.to_string() {
        format!("{host} is ")
    } else {
        format!("{host} is at {address}, which is ")
    }
}

/// A host as it is compared: small letters, no brackets, no dot at the end.
fn bare(host: &str) -> String {
    let host = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
    host.strip_suffix('.').unwrap_or(host).to_ascii_lowercase()
}

/// Looks names up and leaves out what may not be connected to.
struct Checked(Reach);

impl Resolve for Checked {
    fn resolve(&self, name: Name) -> Resolving {
        let reach = self.0.clone();
        Box::pin(async move {
            let text = name.as_str().to_owned();
            let found = reach.names.resolve(name).await?.collect();
            Ok(Box::new(reach.kept(&text, found)?.into_iter()) as Addrs)
        })
    }
}

/// The system's resolver.
struct SystemNames;

impl Resolve for SystemNames {
    fn resolve(&self, name: Name) -> Resolving {
        Box::pin(async move {
            let found: Vec<SocketAddr> = tokio::net::lookup_host((name.as_str(), 0)).await?.collect();
            Ok(Box::new(found.into_iter()) as Addrs)
        })
    }
}

#[cfg(test)]
mod tests;
