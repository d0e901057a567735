//! `doctor`: looks at everything that the service rests on, and says what to do.

mod sources;

use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;
use std::time::Duration;

use alerts::deliver::envelope_from;
use alerts::mail::smtp::{Outcome, Security, Stage, send};
use model::time::{DAY, HOUR, Instant, MINUTE};
use reqwest::header::DATE;
use reqwest::{Client, RequestBuilder};
use store::{SCHEMA, Store};
use weather::checks::Thresholds;
use weather::feeds::reach::{Reach, Redirects};

use crate::cli::{failed, on_runtime, say};
use crate::settings::{Given, Settings, on_postgres};
use crate::{clock, document, house};

use sources::Known;

/// How something stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Well,
    Look,
    Broken,
}

/// Less room than this is soon none: a season of many farms is some 100 MB.
const LITTLE_ROOM: u64 = 1 << 30;
/// A feed's cell is fetched each hour.
const LONG_WITHOUT_FETCH: i64 = 3 * HOUR;
/// Mails go out within a minute.
const LONG_UNSENT: i64 = 30 * MINUTE;
/// A clock that far off moves a crossing by as much.
const CLOCK_OFF: i64 = 2 * MINUTE;
/// Longest wait for a server elsewhere.
const PATIENCE: Duration = Duration::from_secs(30);

/// What was found, said as it is found.
struct Findings {
    worst: Mutex<State>,
}

impl Findings {
    fn tell(&self, state: State, what: &str, says: &str) {
        let word = match state {
            State::Well => "well  ",
            State::Look => "look  ",
            State::Broken => "BROKEN",
        };
        say(&format!("{word}  {what:<14}  {says}"));
        let mut worst = self.worst.lock().unwrap_or_else(|broken| broken.into_inner());
        if state == State::Broken || (state == State::Look && *worst == State::Well) {
            *worst = state;
        }
    }
}

/// Runs the command: 0 when nothing is broken, 1 when something is, 2 when it
/// could not be found out.
pub(crate) fn run(given: &Given) -> ExitCode {
    let settings = match Settings::from(given) {
        Ok(settings) => settings,
        Err(error) => return failed(&error),
    };
    let findings = std::sync::Arc::new(Findings { worst: Mutex::new(State::Well) });
    let told = findings.clone();
    let code = on_runtime(async move {
        look(&settings, &told).await;
        Ok(())
    });
    let worst = *findings.worst.lock().unwrap_or_else(|broken| broken.into_inner());
    if worst == State::Broken { ExitCode::from(1) } else { code }
}

async fn look(settings: &Settings, findings: &Findings) {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let now = clock::system().now();
    let zones = chrono_tz::IANA_TZDB_VERSION;
    findings.tell(State::Well, "time zones", &format!("zone data {zones}, built in"));
    room(settings, findings);
    let thresholds = document::thresholds(settings.checks.as_deref()).unwrap_or_else(|error| {
        findings.tell(State::Broken, "checks", &format!("{error:#}"));
        Thresholds::default()
    });
    if let Some(store) = database(settings, findings).await {
        let limits = house::feeds(settings).unwrap_or_default();
        let limits = limits.iter().map(|feed| (feed.provider(), feed.limits())).collect();
        work(&store, now, &Known { thresholds, limits }, findings).await;
        let _ = store.close().await;
    }
    mail(settings, findings).await;
    bounces(settings, findings);
    feeds(settings, now, findings).await;
    address(settings, findings).await;
}

/// Room on the disks of the database and of the folder of mails.
fn room(settings: &Settings, findings: &Findings) {
    let mut places = Vec::new();
    if !on_postgres(&settings.database) {
        places.push(("disk", Path::new(settings.database.trim_start_matches("sqlite://")).parent()));
    }
    if settings.smtp.is_none() {
        places.push(("mail folder", Some(settings.mail_folder.as_path())));
    }
    for (what, place) in places {
        let place = place.filter(|place| !place.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !place.is_dir() {
            let says = format!("{} is not there; it is made at the first start", place.display());
            findings.tell(State::Look, what, &says);
            continue;
        }
        if let Err(error) = tempfile::tempfile_in(place) {
            let says =
                format!("{} cannot be written ({error}): give it to the service's user", place.display());
            findings.tell(State::Broken, what, &says);
            continue;
        }
        match fs4::available_space(place) {
            Ok(bytes) if bytes < LITTLE_ROOM => findings.tell(
                State::Look,
                what,
                &format!(
                    "{} MB are left on {}: make room, or move it to another disk",
                    bytes >> 20,
                    place.display()
                ),
            ),
            Ok(bytes) => findings.tell(
                State::Well,
                what,
                &format!("{} GB are left on {}", bytes >> 30, place.display()),
            ),
            Err(error) => findings.tell(State::Look, what, &format!("{}: {error}", place.display())),
        }
    }
}

/// Whether the database is there, of this program's version, safe and sound.
async fn database(settings: &Settings, findings: &Findings) -> Option<Store> {
    const WHAT: &str = "database";
    let version = match Store::version_of(&settings.database).await {
        Ok(version) => version,
        Err(error) => {
            findings.tell(
                State::Broken,
                WHAT,
                &format!("{error}: is it there, and does --database name it?"),
            );
            return None;
        }
    };
    match version {
        None => {
            findings.tell(State::Look, WHAT, "is not there; it is made at the first start");
            return None;
        }
        Some(found) if found < SCHEMA => {
            let says = format!(
                "is at schema {found}, this program at {SCHEMA}: make a backup, then `bloomtide migrate`"
            );
            findings.tell(State::Broken, WHAT, &says);
            return None;
        }
        Some(_) => {}
    }
    let store = match Store::open(&settings.database).await {
        Ok(store) => store,
        Err(error) => {
            findings.tell(State::Broken, WHAT, &error.to_string());
            return None;
        }
    };
    match store.faults(true).await {
        Ok(faults) if faults.is_empty() => {
            findings.tell(
                State::Well,
                WHAT,
                &format!("schema {SCHEMA}; its settings keep what they confirm; sound"),
            );
            Some(store)
        }
        Ok(faults) => {
            let says =
                format!("is damaged ({}): stop the service and `bloomtide restore` a backup", faults[0]);
            findings.tell(State::Broken, WHAT, &says);
            None
        }
        Err(error) => {
            findings.tell(State::Broken, WHAT, &error.to_string());
            None
        }
    }
}

/// What waits, and what fails.
async fn work(store: &Store, now: Instant, known: &Known, findings: &Findings) {
    let (figures, oldest, cells) =
        match tokio::try_join!(store.figures(now), store.oldest_unsent(), store.cells()) {
            Ok(found) => found,
            Err(error) => return findings.tell(State::Broken, "work", &error.to_string()),
        };
    let holds = format!("{} farms, {} blocks, {} seasons", figures.farms, figures.blocks, figures.seasons);
    findings.tell(State::Well, "holds", &holds);
    match oldest {
        Some(at) if now.since(at) > LONG_UNSENT => {
            let says = format!(
                "{} wait, the oldest since {at}: see below whether the mail server answers",
                figures.unsent
            );
            findings.tell(State::Broken, "mails", &says);
        }
        _ if figures.failed > 0 => {
            let says =
                format!("{} were given up; /api/v1/alerts shows which, with the reason", figures.failed);
            findings.tell(State::Look, "mails", &says);
        }
        _ => findings.tell(State::Well, "mails", &format!("{} wait", figures.unsent)),
    }
    if figures.unread_journals > 0 {
        let says = format!(
            "the database was restored and {} send journals are not read yet: no mail goes out until the instances \
             that wrote them are started, or `bloomtide restore --release`",
            figures.unread_journals
        );
        findings.tell(State::Broken, "mails", &says);
    }
    if figures.blind_sites > 0 {
        let says = format!("nothing is heard of {} sites on which a leg runs", figures.blind_sites);
        findings.tell(State::Look, "blind sites", &says);
    }
    if figures.stuck > 0 {
        let says = format!("{} fetches or sends are hours late: is the service running?", figures.stuck);
        findings.tell(State::Broken, "stuck jobs", &says);
    }
    for cell in &cells {
        let last = cell.last_ok_at.map_or_else(|| "never".to_owned(), |at| at.to_string());
        let late = cell.last_ok_at.is_none_or(|at| now.since(at) > LONG_WITHOUT_FETCH);
        let name = format!("{} {}", cell.provider, cell.cell);
        match &cell.last_error {
            Some(error) => {
                let says = format!("{name} failed ({error}); last well {last}, next {}", cell.next_at);
                findings.tell(if late { State::Broken } else { State::Look }, "weather", &says);
            }
            None if late => {
                let says = format!("{name} was last fetched {last}: is the service running?");
                findings.tell(State::Look, "weather", &says);
            }
            None => {}
        }
    }
    sources::sources(store, now, known, &cells, findings).await;
    let failing = cells.iter().filter(|cell| cell.last_error.is_some()).count();
    if failing == 0 {
        findings.tell(State::Well, "weather", &format!("{} cells of feeds, none failing", cells.len()));
    }
}

/// Speaks to the mail server up to the point at which a mail would be offered.
async fn mail(settings: &Settings, findings: &Findings) {
    const WHAT: &str = "mail server";
    let (relay, from) = match (house::relay(settings), envelope_from(&settings.mail_from)) {
        (Ok(Some(relay)), Ok(from)) => (relay, from),
        (Ok(None), _) => {
            let says = "none is set: mails stay in the folder, nobody is told; --smtp names one";
            return findings.tell(State::Look, WHAT, says);
        }
        (Err(error), _) => return findings.tell(State::Broken, WHAT, &format!("{error:#}")),
        (_, Err(error)) => return findings.tell(State::Broken, WHAT, &format!("--mail-from: {error}")),
    };
    const EMPTY: &str = "Subject: none\r\n\r\n";
    match send(&relay, &from, &from, EMPTY, || async { false }).await {
        Outcome::Later { stage: Stage::Offer, .. } if relay.security == Security::Unprotected => {
            let says = format!("takes mail from {from}, unprotected: anybody on the way can read it");
            findings.tell(State::Look, WHAT, &says);
        }
        Outcome::Later { stage: Stage::Offer, .. } => {
            findings.tell(State::Well, WHAT, &format!("takes mail from {from}; none was sent"));
        }
        Outcome::Later { stage, cause } => {
            findings.tell(State::Broken, WHAT, &format!("{stage}: {cause}: check --smtp, and the way there"));
        }
        Outcome::Refused { stage, code, text } => {
            findings.tell(
                State::Broken,
                WHAT,
                &format!("{stage}: {code} {text}: check --smtp and --mail-from"),
            );
        }
        Outcome::Sent { .. } | Outcome::Unknown { .. } => {
            findings.tell(State::Look, WHAT, "took a mail that was not offered");
        }
    }
}

/// Whether what comes back can be read and moved out of the way.
fn bounces(settings: &Settings, findings: &Findings) {
    const WHAT: &str = "bounces";
    let Some(folder) = &settings.bounces else { return };
    if !folder.exists() {
        let says = format!(
            "{} is not there: the mail server makes it with the first mail to the address that mails are from",
            folder.display()
        );
        return findings.tell(State::Look, WHAT, &says);
    }
    for name in ["new", "cur"] {
        let place = folder.join(name);
        // Made where the service may write, and gone at once: only that shows
        // that mails can be moved.
        if let Err(error) = tempfile::NamedTempFile::new_in(&place) {
            let says = format!(
                "{} cannot be written ({error}): --bounces names a Maildir, which the mail server makes, and the service's user moves mails in it",
                place.display()
            );
            return findings.tell(State::Broken, WHAT, &says);
        }
    }
    findings.tell(State::Well, WHAT, &format!("are read in {}", folder.display()));
}

/// Whether the weather provider can be reached, and what time it has.
async fn feeds(settings: &Settings, now: Instant, findings: &Findings) {
    const WHAT: &str = "feed";
    if settings.feeds.is_empty() {
        return findings.tell(
            State::Look,
            WHAT,
            "none is set up: temperatures come by file and by hand alone",
        );
    }
    if let Err(error) = house::feeds(settings) {
        return findings.tell(State::Broken, WHAT, &format!("{error:#}"));
    }
    let bases = [
        ("open-meteo", &settings.open_meteo_url),
        ("nws", &settings.nws_url),
        ("met-norway", &settings.met_norway_url),
        ("bright-sky", &settings.bright_sky_url),
    ];
    for (name, base) in bases {
        if let (true, Some(base)) = (settings.feeds.iter().any(|feed| feed.trim() == name), base) {
            feed(base, &settings.allow_feed_hosts, now, findings).await;
        }
    }
}

/// Asks for an address at a feed's host, if it is one that feeds ask; any answer will do.
fn asking(base: &str, allowed: &[String]) -> anyhow::Result<RequestBuilder> {
    let client = Reach::new(allowed)?.client(Client::builder().timeout(PATIENCE), Redirects::Never)?;
    Ok(client.get(base.parse()?)?)
}

async fn feed(base: &str, allowed: &[String], now: Instant, findings: &Findings) {
    const WHAT: &str = "feed";
    let asking = match asking(base, allowed) {
        Ok(asking) => asking,
        Err(error) => return findings.tell(State::Broken, WHAT, &error.to_string()),
    };
    let answer = match asking.send().await {
        Ok(answer) => answer,
        Err(error) => {
            let says = format!("{base} does not answer ({}): is the way out open?", with_cause(&error));
            return findings.tell(State::Broken, WHAT, &says);
        }
    };
    findings.tell(State::Well, WHAT, &format!("{base} answers"));
    let date = answer.headers().get(DATE).and_then(|date| date.to_str().ok());
    let Some(theirs) = date.and_then(|date| chrono::DateTime::parse_from_rfc2822(date).ok()) else {
        return findings.tell(State::Look, "clock", "the feed's host says no time to hold it against");
    };
    let off = now.0 - theirs.timestamp();
    if off.abs() > CLOCK_OFF {
        let way = if off > 0 { "ahead" } else { "behind" };
        let says = format!("is {} s {way} of {base}: let the system keep time by NTP", off.abs());
        findings.tell(if off.abs() > DAY { State::Broken } else { State::Look }, "clock", &says);
    } else {
        findings.tell(State::Well, "clock", &format!("within {} s of {base}", off.abs().max(1)));
    }
}

/// Whether people reach this server where links lead.
async fn address(settings: &Settings, findings: &Findings) {
    const WHAT: &str = "address";
    let Some(url) = settings.public_url.as_deref().map(|url| url.trim_end_matches('/')) else {
        let says = format!(
            "--public-url is not set: links lead to http://{}, which works on this machine alone",
            settings.listen
        );
        return findings.tell(State::Look, WHAT, &says);
    };
    if !url.starts_with("https://") {
        let says = format!(
            "{url} is not https://: signing in is refused over plain HTTP; put a proxy in front (deploy/)"
        );
        findings.tell(State::Broken, WHAT, &says);
    }
    let answer = match Client::builder().timeout(PATIENCE).build() {
        Ok(client) => client.get(format!("{url}/healthz")).send().await,
        Err(error) => Err(error),
    };
    match answer {
        Ok(answer) if answer.status().is_success() => {
            let document: serde_json::Value = answer.json().await.unwrap_or_default();
            match document["version"].as_str() {
                Some(version) => {
                    findings.tell(State::Well, WHAT, &format!("{url} is answered by bloomtide {version}"))
                }
                None => findings.tell(State::Broken, WHAT, &format!("{url} is answered by something else")),
            }
        }
        Ok(answer) => {
            findings.tell(State::Broken, WHAT, &format!("{url}/healthz answers {}", answer.status()))
        }
        Err(error) => {
            let says = format!(
                "{url} does not answer ({}): is the service running, and the proxy?",
                with_cause(&error)
            );
            findings.tell(State::Look, WHAT, &says);
        }
    }
}

/// An error with what lies under it, which says more.
fn with_cause(error: &dyn std::error::Error) -> String {
    let mut last = error;
    while let Some(under) = last.source() {
        last = under;
    }
    last.to_string()
}
