//! The program itself, started, stopped and killed as its users would.

use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

/// Longest wait for a line of the program.
const PATIENCE: Duration = Duration::from_secs(180);

/// Which build of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Build {
    /// As people get it.
    Plain,
    /// With a clock that a test can set.
    Trial,
}

/// Path of a build, beside the tests.
///
/// # Panics
/// When it is not there.
pub fn path(build: Build) -> PathBuf {
    let name = match build {
        Build::Plain => "bloomtide-plain",
        Build::Trial => "bloomtide-trial",
    };
    let here = std::env::current_exe().expect("a test knows where it lies");
    let path = here.parent().and_then(Path::parent).map(|folder| folder.join(name));
    let path = path.expect("tests lie in target/PROFILE/deps");
    assert!(path.exists(), "{} is missing: tests/run builds it", path.display());
    path
}

/// A command of a build, without any setting from this process's environment.
pub fn command(build: Build, arguments: &[&str]) -> Command {
    let mut command = Command::new(path(build));
    command.args(arguments);
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("BLOOMTIDE_") {
            command.env_remove(name);
        }
    }
    command.env_remove("RUST_LOG").stdin(Stdio::null());
    command
}

/// Runs a build to its end.
///
/// # Panics
/// When it cannot be started.
pub fn run(build: Build, arguments: &[&str]) -> Output {
    command(build, arguments).output().expect("the program can be started")
}

/// A running program, killed when dropped. What it writes to stderr is shown
/// when the test fails.
#[derive(Debug)]
pub struct Program {
    child: Child,
    lines: Receiver<String>,
    seen: Vec<String>,
    errors: Receiver<String>,
}

impl Program {
    /// Starts a command and reads its lines.
    ///
    /// # Panics
    /// When it cannot be started.
    pub fn start(mut command: Command) -> Program {
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program can be started");
        let (send, lines) = channel();
        follow(child.stdout.take().expect("stdout is piped"), send);
        let (send, errors) = channel();
        follow(child.stderr.take().expect("stderr is piped"), send);
        Program { child, lines, seen: Vec::new(), errors }
    }

    /// The rest of the first line that begins with `words`.
    ///
    /// # Panics
    /// When it does not come.
    pub fn line(&mut self, words: &str) -> String {
        let begin = Instant::now();
        loop {
            if let Some(rest) = self.seen.iter().find_map(|line| line.strip_prefix(words)) {
                return rest.trim().to_owned();
            }
            let left = PATIENCE.saturating_sub(begin.elapsed());
            match self.lines.recv_timeout(left) {
                Ok(line) => self.seen.push(line),
                Err(_) => panic!("no line `{words}…` came; there were {:#?}", self.seen),
            }
        }
    }

    /// All lines so far.
    pub fn seen(&self) -> &[String] {
        &self.seen
    }

    /// Its number as a process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Whether it has ended.
    pub fn ended(&mut self) -> bool {
        self.child.try_wait().is_ok_and(|ended| ended.is_some())
    }

    /// Kills it with SIGKILL.
    ///
    /// # Panics
    /// When it cannot be killed.
    pub fn kill(mut self) {
        self.child.kill().expect("a child can be killed");
        self.child.wait().expect("a child can be waited for");
    }

    /// Asks it to stop with SIGINT, and waits; gives whether it ended well.
    ///
    /// # Panics
    /// When the signal cannot be sent.
    pub fn stop(mut self) -> bool {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args(["-INT", &pid]).status().expect("kill is there");
        assert!(sent.success());
        self.child.wait().expect("a child can be waited for").success()
    }
}

impl Drop for Program {
    #[expect(clippy::print_stderr, reason = "the test runner shows it with the failure")]
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            self.errors.iter().for_each(|line| eprintln!("the program said: {line}"));
        }
    }
}

/// Passes the lines on until the program ends.
fn follow(output: impl Read + Send + 'static, lines: Sender<String>) {
    std::thread::spawn(move || {
        // Read on though nobody listens: a full pipe would stop the program.
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            let _ = lines.send(line);
        }
    });
}

/// Waits until `holds` gives something.
///
/// # Panics
/// When it never does.
pub async fn eventually<T>(what: &str, mut holds: impl AsyncFnMut() -> Option<T>) -> T {
    let begin = Instant::now();
    while begin.elapsed() < PATIENCE {
        if let Some(found) = holds().await {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("never came: {what}");
}

/// All bytes of a file.
///
/// # Panics
/// When it cannot be read.
pub fn bytes(path: &Path) -> Vec<u8> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|mut file| file.read_to_end(&mut bytes))
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    bytes
}
