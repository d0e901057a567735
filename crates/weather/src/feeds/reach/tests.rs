mod canary;
mod forms;

use super::*;

fn reach(allowed: &[&str]) -> Result<Reach, Refused> {
    Reach::new(&allowed.iter().map(|entry| (*entry).to_owned()).collect::<Vec<_>>())
}

fn check(reach: &Reach, url: &str) -> Result<(), Refused> {
    reach.check(&Url::parse(url).unwrap())
}

#[test]
fn providers_are_public() {
    use crate::feeds::{bright_sky, met_norway, nws, open_meteo};
    let reach = reach(&[]).unwrap();
    for url in [
        bright_sky::DEFAULT_BASE_URL,
        met_norway::DEFAULT_BASE_URL,
        nws::DEFAULT_BASE_URL,
        open_meteo::DEFAULT_BASE_URL,
        open_meteo::DEFAULT_ENSEMBLE_URL,
        open_meteo::DEFAULT_ARCHIVE_URL,
    ] {
        assert_eq!(check(&reach, url), Ok(()), "{url}");
    }
}

#[test]
fn only_the_web_is_asked() {
    let reach = reach(&["127.0.0.1", "host"]).unwrap();
    for scheme in ["ftp", "file", "gopher", "ws", "unix", "data", "javascript", "ldap"] {
        let refused = check(&reach, &format!("{scheme}://host/x")).unwrap_err();
        assert_eq!(refused, Refused::Scheme(scheme.to_owned()));
    }
    assert_eq!(check(&reach, "HTTP://HOST/x"), Ok(()));
}

#[test]
fn what_is_named_is_asked_wherever_it_is() {
    let cases = [
        (&["127.0.0.1"][..], "http://127.0.0.1:8080/", true),
        (&["127.0.0.1"], "http://2130706433/", true),
        (&["127.0.0.1"], "http://127.0.0.2/", false),
        (&["127.0.0.1"], "http://[::1]/", false),
        (&["127.0.0.1:8080"], "http://127.0.0.1:8080/", true),
        (&["127.0.0.1:8080"], "http://127.0.0.1:8081/", false),
        (&["127.0.0.1:8080", "127.0.0.1:9000"], "http://127.0.0.1:9000/", true),
        (&["127.0.0.1:80"], "http://127.0.0.1/", true),
        (&["127.0.0.1:80"], "https://127.0.0.1/", false),
        (&["127.0.0.1:443"], "https://127.0.0.1/", true),
        (&["0x7f.1"], "http://127.0.0.1/", true),
        (&["[::1]"], "http://[::1]:8080/", true),
        (&["[0:0::1]:8080"], "http://[::1]:8080/", true),
        (&["[::1]:8080"], "http://[::1]/", false),
        (&[" Weather.Farm.Example. "], "http://weather.farm.example/", true),
        (&["weather.farm.example"], "http://weather.farm.example.:81/", true),
        // Its name would be looked up without a look at where it leads.
        (&["weather.farm.example:81"], "http://weather.farm.example/", false),
        // A name is told by what it stands for, when a connection is made.
        (&[], "http://weather.farm.example/", true),
        (&["localhost"], "http://127.0.0.1/", false),
    ];
    for (allowed, url, expected) in cases {
        let told = check(&reach(allowed).unwrap(), url);
        assert_eq!(told.is_ok(), expected, "{allowed:?} {url}: {told:?}");
    }
    let refused = check(&reach(&["127.0.0.1:8080"]).unwrap(), "http://127.0.0.1/").unwrap_err();
    assert!(refused.to_string().contains("name 127.0.0.1:80 among"), "{refused}");
}

#[test]
fn an_entry_that_is_no_host_is_named() {
    for entry in [
        "",
        " ",
        "http://127.0.0.1",
        "127.0.0.1/8",
        "127.0.0.1:99999",
        "127.0.0.1:http",
        "::1",
        "*",
        "*.example",
        "a b",
        "ops@host",
        "host?",
        "host#",
        "ho%73t",
        "1.2.3.4.5",
        "[::1",
        ":8080",
    ] {
        let refused = reach(&["fine.example", entry]).unwrap_err();
        assert_eq!(refused, Refused::NoEntry(entry.to_owned()));
    }
    assert!(format!("{:?}", reach(&["host:81"]).unwrap()).contains("host"));
}

/// A resolver that answers each look-up with the next of its answers.
struct Swinging(std::sync::Mutex<Vec<Vec<&'static str>>>);

impl Swinging {
    fn names(answers: &[&[&'static str]]) -> Arc<Swinging> {
        Arc::new(Swinging(std::sync::Mutex::new(answers.iter().rev().map(|one| one.to_vec()).collect())))
    }
}

impl Resolve for Swinging {
    fn resolve(&self, _: Name) -> Resolving {
        let answer = self.0.lock().unwrap().pop().unwrap_or_else(|| vec!["127.0.0.1"]);
        let found: Vec<SocketAddr> =
            answer.iter().map(|ip| SocketAddr::new(ip.parse().unwrap(), 0)).collect();
        Box::pin(std::future::ready(Ok(Box::new(found.into_iter()) as Addrs)))
    }
}

/// What is handed to the connection at each look-up.
async fn handed_on(reach: &Reach, name: &str) -> Result<Vec<String>, String> {
    let found = Checked(reach.clone()).resolve(name.parse().unwrap()).await;
    found.map(|found| found.map(|place| place.ip().to_string()).collect()).map_err(|error| error.to_string())
}

#[tokio::test]
async fn a_name_that_swings_over_is_never_followed() {
    let answers: &[&[&str]] = &[
        &["157.249.81.141"],
        &["127.0.0.1"],
        &["157.249.81.141", "127.0.0.1", "::1", "2a00:1450::1"],
        &["10.0.0.1", "fe80::1"],
        &[],
        &["64:ff9b::9df9:518d"],
        &["64:ff9b::7f00:1"],
    ];
    let names = Swinging::names(answers);
    let reach =
        Reach::with_names(&["swings.example:1".to_owned(), "Home.Example".to_owned()], names).unwrap();
    let refused = |ip: &str| {
        Err(format!(
            "other.example is at {ip}, which is no public address; name other.example among the allowed hosts if it is meant"
        ))
    };
    let expected = [
        Ok(vec!["157.249.81.141".to_owned()]),
        refused("127.0.0.1"),
        Ok(vec!["157.249.81.141".to_owned(), "2a00:1450::1".to_owned()]),
        refused("10.0.0.1"),
        Err("other.example stands for no address".to_owned()),
        Ok(vec!["64:ff9b::9df9:518d".to_owned()]),
        refused("64:ff9b::7f00:1"),
        // And from now on always.
        refused("127.0.0.1"),
    ];
    for told in expected {
        assert_eq!(handed_on(&reach, "other.example.").await, told);
    }
    assert_eq!(handed_on(&reach, "home.example").await, Ok(vec!["127.0.0.1".to_owned()]));
}

#[tokio::test]
async fn the_systems_resolver_is_looked_at_as_well() {
    let told = handed_on(&reach(&[]).unwrap(), "localhost").await.unwrap_err();
    assert!(told.contains("no public address"), "{told}");
    assert!(!handed_on(&reach(&["localhost"]).unwrap(), "localhost").await.unwrap().is_empty());
}

#[test]
fn redirects_are_looked_at_like_requests() {
    let reach = reach(&["home.example"]).unwrap();
    let may = |before: &[&str], next: &str, redirects| {
        let before: Vec<Url> = before.iter().map(|url| Url::parse(url).unwrap()).collect();
        reach.may_follow(&before, &Url::parse(next).unwrap(), redirects)
    };
    use Redirects::{Anywhere, SameHost};
    let elsewhere = |host: &str| Err(Refused::Elsewhere(host.to_owned()));
    let cases = [
        (&["http://a.example/1"][..], "http://a.example/2", SameHost, Ok(())),
        (&["http://a.example/1"], "http://A.example.:80/2", SameHost, Ok(())),
        (&["http://a.example/1"], "http://a.example:81/2", SameHost, elsewhere("a.example")),
        (&["http://a.example/1"], "https://a.example/2", SameHost, elsewhere("a.example")),
        (&["http://a.example/1"], "http://home.example/2", SameHost, elsewhere("home.example")),
        (&["http://a.example/1"], "https://b.example/2", Anywhere, Ok(())),
        (&["http://a.example/1"], "http://home.example/2", Anywhere, Ok(())),
        (
            &["https://a.example/1"],
            "http://a.example/2",
            Anywhere,
            Err(Refused::Unprotected("a.example".to_owned())),
        ),
        (&["http://a.example/1"], "ftp://a.example/2", Anywhere, Err(Refused::Scheme("ftp".to_owned()))),
        (&["http://a.example/1"; 3], "http://a.example/2", Anywhere, Ok(())),
        (&["http://a.example/1"; 4], "http://a.example/2", Anywhere, Err(Refused::InCircles)),
    ];
    for (before, next, redirects, expected) in cases {
        assert_eq!(may(before, next, redirects), expected, "{before:?} {next}");
    }
}
