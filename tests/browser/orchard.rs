//! The orchard of this suite: a served farm with people who have passwords, a spring
//! that is over and one under way.

pub(crate) mod api;
pub(crate) mod sky;
pub(crate) mod spring;

use std::net::TcpListener;
use std::sync::{Arc, Weak};

use black_box::program::{Build, Program, command, eventually};
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::sync::Mutex;

use self::api::Api;
use self::sky::Sky;

/// Someone who can sign in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Person {
    pub(crate) name: &'static str,
    pub(crate) email: &'static str,
    pub(crate) password: &'static str,
}

/// Runs the server.
pub(crate) const OPERATOR: Person =
    Person { name: "Ole Marsh", email: "ole@larkmoor.example", password: "pears before apples" };
/// Sets blocks and plans up.
pub(crate) const ADVISOR: Person =
    Person { name: "Hedda Brook", email: "hedda@larkmoor.example", password: "late frost, early bees" };
/// Counts and sprays.
pub(crate) const GROWER: Person =
    Person { name: "Nils Orme", email: "nils@larkmoor.example", password: "plums after cherries" };

/// The farm.
pub(crate) const FARM: &str = "larkmoor";
/// Its block with the spring of 2013, from the buds to the set, on real readings.
pub(crate) const BENCH: &str = "north-bench";
/// Its block whose spring is under way.
pub(crate) const TERRACE: &str = "mill-terrace";
/// The spring that is over.
pub(crate) const PAST: i32 = 2013;

/// The served orchard.
pub(crate) struct Orchard {
    /// Address of the server, without a slash at its end.
    pub(crate) server: String,
    /// The operator's API.
    pub(crate) api: Api,
    /// The year of the spring under way.
    pub(crate) year: i64,
    /// Page on which an address is confirmed.
    pub(crate) confirm: String,
    /// Page that a mail with an alert leads to.
    pub(crate) mail: String,
    /// Page in full on which another server is taken over, which nobody has yet.
    pub(crate) claim: String,
    folder: TempDir,
    _sky: Sky,
    /// Behind a lock, since what a program says is for one reader.
    _programs: std::sync::Mutex<[Program; 2]>,
}

/// The orchard as it stands, for all tests that run at the same time; the last one
/// that lets it go stops its servers.
static STANDING: Mutex<Weak<Orchard>> = Mutex::const_new(Weak::new());

/// The orchard of all tests. What one of them adds, others may see.
pub(crate) async fn orchard() -> Arc<Orchard> {
    let mut standing = STANDING.lock().await;
    if let Some(orchard) = standing.upgrade() {
        return orchard;
    }
    let orchard = Arc::new(Orchard::planted().await);
    *standing = Arc::downgrade(&orchard);
    orchard
}

impl Orchard {
    /// One of its own for a test that stops servers or changes what others look at.
    pub(crate) async fn planted() -> Orchard {
        let folder = tempfile::tempdir().unwrap();
        let sky = Sky::silent().await;
        let settings = sky.settings();
        let settings: Vec<&str> = settings.iter().map(String::as_str).collect();
        let (unclaimed, _, claim, _) = served(&folder, "unclaimed", &[]);
        let (program, server, own, token) = served(&folder, "larkmoor", &settings);
        let api = Api::new(&server, &token);
        let operator = [("name", OPERATOR.name), ("email", OPERATOR.email), ("password", OPERATOR.password)];
        api.send(&path_of(&own, &server), &operator).await;
        let farm = json!({"id": FARM, "name": "Larkmoor Orchard", "alert_emails": [GROWER.email]});
        let farm = api.post("farms", farm).await;
        let now: model::time::Instant = farm["created_at"].as_str().unwrap().parse().unwrap();
        for (person, role) in [(ADVISOR, "advisor"), (GROWER, "grower")] {
            let page = invited(&api, person.email, role).await;
            api.send(&page, &[("name", person.name), ("password", person.password)]).await;
        }
        sky.over(now).await;
        let year = spring::over(&api, now).await;
        let contact = json!({"id": "runa", "name": "Runa Vale", "email": "runa@larkmoor.example"});
        api.post(&format!("farms/{FARM}/contacts"), contact).await;
        let mails = folder.path().join("larkmoor-mail");
        let confirm = path_of(&api::link_in(&mails, "Agree on this page: ").await, &server);
        let mail = path_of(&api::link_in(&mails, "want less of this: ").await, &server);
        for (block, year) in [(BENCH, i64::from(PAST)), (TERRACE, year)] {
            eventually(&format!("{block} {year} reckoned on what was read"), async || {
                let season = api.get(&format!("blocks/{block}/seasons/{year}")).await;
                let hours = season["hours"]["observed"].as_f64()?;
                (season["stale"] == false && hours > 1.0).then_some(())
            })
            .await;
        }
        eventually(&format!("{TERRACE} has odds of an ensemble and an hour to spray in"), async || {
            let season = api.get(&format!("blocks/{TERRACE}/seasons/{year}")).await;
            let likely = season["odds"]["legs"][0]["odds"]["likely"].as_str();
            (season["stale"] == false && likely.is_some() && season["slots"][0]["outcome"] == "named")
                .then_some(())
        })
        .await;
        let programs = [program, unclaimed].into();
        Orchard { server, api, year, confirm, mail, claim, folder, _sky: sky, _programs: programs }
    }

    /// The page of an invitation that nobody has used.
    pub(crate) async fn invitation(&self, email: &str) -> String {
        invited(&self.api, email, "grower").await
    }

    /// The page on which someone chooses a new password.
    pub(crate) fn reset(&self, person: Person) -> String {
        let database = self.folder.path().join("larkmoor.db").display().to_string();
        let settings = ["user", "reset", "--database", &database, "--public-url", &self.server, person.email];
        let made = command(Build::Plain, &settings).output().unwrap();
        let said = String::from_utf8(made.stdout).unwrap();
        path_of(said.trim().rsplit(' ').next().unwrap(), &self.server)
    }
}

/// A server that nobody has taken over, its address and the page for that.
pub(crate) fn unclaimed(folder: &TempDir) -> (Program, String, String) {
    let (program, server, claim, _) = served(folder, "unclaimed", &[]);
    let claim = path_of(&claim, &server);
    (program, server, claim)
}

/// Starts the program on a new database, with further settings; gives it with its
/// address, the link by which it is taken over, and the token of the API.
pub(crate) fn served(folder: &TempDir, name: &str, more: &[&str]) -> (Program, String, String, String) {
    // Links lead to the address that it listens on, which must be known before.
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let server = format!("http://127.0.0.1:{port}");
    let mut program = serve(folder, name, &server, more);
    let claim = program.line("take this server over, the link works once: ");
    let token = program.line("token for the API, shown this once: ");
    (program, server, claim, token)
}

/// Starts the program on the database of that name, at an address of this machine.
pub(crate) fn serve(folder: &TempDir, name: &str, server: &str, more: &[&str]) -> Program {
    let at = |end: &str| folder.path().join(format!("{name}{end}")).display().to_string();
    let listen = server.trim_start_matches("http://");
    let (database, mails) = (at(".db"), at("-mail"));
    let mut settings = vec!["serve", "--database", &database, "--mail-folder", &mails];
    settings.extend(["--listen", listen, "--public-url", server, "--requests-a-minute", "0"]);
    settings.extend(more);
    Program::start(command(Build::Plain, &settings))
}

pub(crate) async fn invited(api: &Api, email: &str, role: &str) -> String {
    let made: Value =
        api.post(&format!("farms/{FARM}/invitations"), json!({"email": email, "role": role})).await;
    made["path"].as_str().unwrap().to_owned()
}

pub(crate) fn path_of(link: &str, server: &str) -> String {
    link.strip_prefix(server).unwrap_or_else(|| panic!("{link} lies on {server}")).to_owned()
}
