//! The service under trial: its clock, its weather, its mail server, and the moments
//! at which it is ended and started again.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::{Duration, Instant as Moment};

use black_box::postgres::{Database, Postgres};
use black_box::program::{Build, Program, command, run};
use black_box::smtp::{Listener, Script};
use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use crate::api::Api;
use crate::feed::Feed;
use crate::mail::Letter;
use crate::orchard::at;

/// 1 May 2026, 00:00 UTC.
pub(crate) const BEGIN: i64 = 1_777_593_600;

/// Longest wait for the service to come to rest.
const PATIENCE: Duration = Duration::from_secs(240);

/// Longest wait for the connections of a dead program to end.
const LAST_WORDS: Duration = Duration::from_secs(3);

/// On which database.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum On {
    Sqlite,
    Postgres,
}

impl On {
    pub(crate) fn word(self) -> &'static str {
        match self {
            On::Sqlite => "SQLite",
            On::Postgres => "Postgres",
        }
    }
}

/// What happened, in order.
#[derive(Debug, Clone)]
pub(crate) enum Event {
    /// The mail server took a message, at this time of the clock.
    Taken(i64, Letter),
    /// An instance was ended.
    Killed,
    /// An instance stopped in the midst of its work, as a suspended machine does.
    Stopped,
    /// It goes on.
    Resumed,
    /// Nothing was left to do: all outcomes are written.
    Quiet,
}

impl Event {
    /// In a line, to read.
    pub(crate) fn told(&self) -> String {
        match self {
            Event::Taken(now, letter) => {
                format!("{} {} {}", at(*now), letter.id, letter.words.lines().next().unwrap_or_default())
            }
            other => format!("{other:?}"),
        }
    }
}

/// How a wait for rest ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ended {
    AtRest,
    /// The instance of this number is gone.
    Gone(usize),
    /// The instance of this number stopped in the midst of its work.
    Stopped(usize),
}

/// One running service.
pub(crate) struct Instance {
    pub(crate) program: Program,
    pub(crate) api: Api,
    stopped: bool,
}

pub(crate) struct Rig {
    pub(crate) folder: TempDir,
    pub(crate) feed: Feed,
    pub(crate) mail: Listener,
    /// Where the service believes it.
    pub(crate) smtp: SocketAddr,
    pub(crate) now: i64,
    /// How far ahead of that the clock of the instances is; the feed's is right.
    pub(crate) wrong: i64,
    /// By number; none while it does not run.
    pub(crate) instances: Vec<Option<Instance>>,
    pub(crate) log: Vec<Event>,
    /// Messages of the present mail server that stand in the log.
    logged: usize,
    postgres: Option<(Postgres, Database)>,
    token: String,
    /// How long the last wait for rest took.
    pub(crate) took: Duration,
    /// What is set beside the usual.
    pub(crate) settings: Vec<String>,
    /// Where the SQLite file lies, if not with the rest.
    pub(crate) small: Option<PathBuf>,
}

impl Rig {
    /// Everything around `count` instances, and the first of them started.
    pub(crate) async fn start(on: On, seed: u64, count: usize) -> Rig {
        Rig::start_in(on, seed, count, None).await
    }

    /// The same with the SQLite file in a folder of its own.
    pub(crate) async fn start_in(on: On, seed: u64, count: usize, small: Option<PathBuf>) -> Rig {
        let postgres = (on == On::Postgres).then(|| {
            let cluster = Postgres::start();
            let database = cluster.database();
            assert!(run(Build::Trial, &["migrate", "--database", &database.owner]).status.success());
            (cluster, database)
        });
        let mail = Listener::start(Script::normal());
        let mut rig = Rig {
            folder: tempfile::tempdir().unwrap(),
            feed: Feed::start(seed).await,
            smtp: mail.addr,
            mail,
            now: BEGIN,
            wrong: 0,
            instances: (0..count).map(|_| None).collect(),
            log: Vec::new(),
            logged: 0,
            postgres,
            token: String::new(),
            took: Duration::from_millis(60),
            settings: Vec::new(),
            small,
        };
        rig.set(BEGIN);
        rig.launch(0);
        rig
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The address of the database, or its file.
    pub(crate) fn database(&self) -> String {
        match &self.postgres {
            Some((_, database)) => database.service.clone(),
            None => {
                self.small.as_deref().unwrap_or(self.folder.path()).join("bloomtide.db").display().to_string()
            }
        }
    }

    /// The address of the database for who owns it.
    pub(crate) fn owner(&self) -> Option<&str> {
        self.postgres.as_ref().map(|(_, database)| database.owner.as_str())
    }

    /// Puts something into a file at once.
    fn put(&self, name: &str, text: &str) {
        let part = self.path("part");
        std::fs::write(&part, text).unwrap();
        std::fs::rename(&part, self.path(name)).unwrap();
    }

    /// Sets the clock of all; what the mail server took until now was taken before.
    pub(crate) fn set(&mut self, now: i64) {
        self.hear();
        self.now = now;
        self.feed.set(now);
        for number in 0..self.instances.len() {
            self.put(&format!("clock-{number}"), &at(now + self.wrong));
        }
    }

    /// Has an instance end, or stop, at the `nth` pass of a point from now on.
    pub(crate) fn arm(&self, number: usize, point: &str, nth: u64, stop: bool) {
        // The last word is for the file to differ from the one before.
        let what = if stop { "stop" } else { "end" };
        self.put(&format!("points-{number}"), &format!("{point} {nth} {what} {}", self.log.len()));
    }

    pub(crate) fn disarm(&self, number: usize) {
        self.put(&format!("points-{number}"), "none");
    }

    /// Starts an instance that does not run.
    pub(crate) fn launch(&mut self, number: usize) {
        self.disarm(number);
        let text = |name: &str| self.path(name).display().to_string();
        let (clock, points) = (text(&format!("clock-{number}")), text(&format!("points-{number}")));
        let (folder, database, smtp) = (text("mail"), self.database(), format!("smtp://{}", self.smtp));
        let mut arguments = vec!["serve", "--trial-clock", &clock, "--trial-points", &points];
        arguments.extend(["--database", &database, "--listen", "127.0.0.1:0", "--mail-folder", &folder]);
        arguments.extend(["--smtp", &smtp, "--mail-from", "clock@quernstone.example"]);
        arguments.extend(["--open-meteo-url", &self.feed.url, "--allow-feed-hosts", "127.0.0.1"]);
        let journal = text("journal");
        if self.postgres.is_some() {
            arguments.extend(["--journal", &journal]);
        }
        // The minute of a clock that stands still never ends.
        arguments.extend(["--requests-a-minute", "0"]);
        arguments.extend(self.settings.iter().map(String::as_str));
        let mut program = Program::start(command(Build::Trial, &arguments));
        let base = program.line("bloomtide serves ");
        if self.token.is_empty() {
            self.token = program.line("token for the API, shown this once: ");
        }
        let api = Api::new(&base, &self.token);
        self.instances[number] = Some(Instance { program, api, stopped: false });
    }

    /// The API of the first instance that runs.
    pub(crate) fn api(&self) -> Api {
        let running = self.instances.iter().flatten().find(|instance| !instance.stopped);
        running.expect("one runs").api.clone()
    }

    /// Notes what the mail server took meanwhile.
    pub(crate) fn hear(&mut self) {
        let taken = self.mail.messages_after(self.logged);
        self.logged += taken.len();
        let now = self.now;
        self.log.extend(taken.iter().map(|message| Event::Taken(now, Letter::read(message))));
    }

    /// Waits until all instances that run have nothing left to do, or one is gone or
    /// stopped. Whatever was posted at the time that the clock shows may still be on
    /// its way: the clock must have gone on since.
    pub(crate) async fn rest(&mut self) -> Ended {
        let begun = Moment::now();
        let ended = self.end().await;
        self.hear();
        match ended {
            Ended::Gone(_) => {}
            Ended::Stopped(_) => self.log.push(Event::Stopped),
            Ended::AtRest => {
                self.took = begun.elapsed();
                // One that is stopped has something left to do.
                if self.instances.iter().flatten().all(|one| !one.stopped) {
                    self.log.push(Event::Quiet);
                }
            }
        }
        ended
    }

    /// The same without a word in the log.
    pub(crate) async fn end(&mut self) -> Ended {
        let begun = Moment::now();
        loop {
            if let Some(number) = self.gone() {
                return Ended::Gone(number);
            }
            if let Some(number) = self.newly_stopped() {
                return Ended::Stopped(number);
            }
            if self.at_rest() {
                return Ended::AtRest;
            }
            assert!(begun.elapsed() < PATIENCE, "no rest at {}", at(self.now));
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    }

    /// Whether all that run have nothing left to do.
    pub(crate) fn at_rest(&self) -> bool {
        let running = self.instances.iter().enumerate().filter_map(|(n, one)| Some((n, one.as_ref()?)));
        running.filter(|(_, one)| !one.stopped).all(|(number, _)| {
            let shown = std::fs::read_to_string(self.path(&format!("clock-{number}.asleep")));
            shown.is_ok_and(|shown| shown == at(self.now + self.wrong))
        })
    }

    /// An instance that ended without being asked.
    pub(crate) fn gone(&mut self) -> Option<usize> {
        self.instances.iter_mut().position(|one| one.as_mut().is_some_and(|one| one.program.ended()))
    }

    /// Kills an instance that may be gone already, and notes what reached the mail
    /// server until then.
    pub(crate) fn kill(&mut self, number: usize) {
        let instance = self.instances[number].take().expect("it runs");
        instance.program.kill();
        // What it had sent is read first; one that is stopped keeps its connections.
        let open = self.mail.open();
        let ended = self.mail.wait_ended(&open, LAST_WORDS);
        assert!(ended || self.instances.iter().flatten().any(|one| one.stopped), "they end with the program");
        self.hear();
        self.log.push(Event::Killed);
    }

    /// An instance that has stopped since this was last asked.
    fn newly_stopped(&mut self) -> Option<usize> {
        let running = |one: &&mut Instance| !one.stopped;
        for (number, one) in self.instances.iter_mut().enumerate() {
            let Some(one) = one.as_mut().filter(running) else { continue };
            let state = std::fs::read_to_string(format!("/proc/{}/stat", one.program.id()));
            // The state stands behind the name, which is in brackets.
            if state.is_ok_and(|state| state.rsplit(')').next().is_some_and(|rest| rest.starts_with(" T"))) {
                one.stopped = true;
                return Some(number);
            }
        }
        None
    }

    /// Lets a stopped instance go on.
    pub(crate) fn resume(&mut self, number: usize) {
        self.hear();
        let one = self.instances[number].as_mut().expect("it runs");
        one.stopped = false;
        let id = Pid::from_raw(i32::try_from(one.program.id()).unwrap()).unwrap();
        kill_process(id, Signal::CONT).unwrap();
        self.log.push(Event::Resumed);
    }

    /// How many run and are not stopped.
    pub(crate) fn running(&self) -> usize {
        self.instances.iter().flatten().filter(|one| !one.stopped).count()
    }

    /// One that does not run.
    pub(crate) fn absent(&self) -> Option<usize> {
        self.instances.iter().position(Option::is_none)
    }

    /// Moves the clock on and waits for rest; a gone instance is started again.
    pub(crate) async fn pass(&mut self, seconds: i64) {
        self.set(self.now + seconds);
        loop {
            match self.rest().await {
                Ended::AtRest => return,
                Ended::Gone(number) => {
                    self.kill(number);
                    self.launch(number);
                }
                Ended::Stopped(number) => self.resume(number),
            }
        }
    }
}
