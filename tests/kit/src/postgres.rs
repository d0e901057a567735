//! A private Postgres cluster for tests, made with Debian's own tools on a
//! free port and removed afterwards, however the test ends.

use std::ffi::OsStr;
use std::net::{Ipv4Addr, TcpListener};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// Where Debian keeps the programs of each version of the server.
const DEBIAN: &str = "/usr/lib/postgresql";
/// The system user that Debian's package makes; `initdb` refuses to run as root.
const SYSTEM_USER: &str = "postgres";
/// Another program may take a free port before the server does.
const ATTEMPTS: u32 = 5;
/// Waits for the end of its input, which comes when the test drops the cluster
/// and also when the test's process is killed; then stops and removes it.
const GUARD: &str = r#"cat >/dev/null; "$@" -D "$DATA" -m immediate -w stop; rm -rf "$FOLDER""#;

/// The file that an administrator runs, with the roles it makes.
const ROLES: &str = include_str!("../../../deploy/postgres.sql");
const OWNER: &str = "bloomtide_owner";
const SERVICE: &str = "bloomtide";

/// The addresses of one database.
#[derive(Debug, Clone)]
pub struct Database {
    /// As the owner, who brings it up to date.
    pub owner: String,
    /// As the service.
    pub service: String,
    /// As the server's superuser.
    pub administrator: String,
}

/// A running cluster. Dropping it stops the server and removes its files.
#[derive(Debug)]
pub struct Postgres {
    programs: PathBuf,
    port: u16,
    guard: Child,
    databases: AtomicU32,
}

impl Postgres {
    /// Makes and starts a cluster with the server's default settings, so that
    /// what it confirms is on disk.
    ///
    /// # Panics
    /// When Postgres is not installed, or does not start; the message names
    /// what to install, or what the server said.
    pub fn start() -> Postgres {
        let programs = programs();
        let folder = tempfile::Builder::new()
            .prefix("bloomtide-postgres-")
            .tempdir()
            .expect("the temporary folder takes a new one")
            .keep();
        if is_root() {
            run(Command::new("chown").arg(SYSTEM_USER).arg(&folder));
        }
        let data = folder.join("data");
        // Starts before there is a server, so that nothing is ever left behind.
        let guard = guard(&programs, &folder, &data);
        let port = 0;
        let mut cluster = Postgres { programs, port, guard, databases: AtomicU32::new(0) };
        cluster.initialise(&folder, &data);
        cluster.launch(&folder, &data);
        cluster.make_roles(&folder);
        cluster
    }

    /// Makes an empty database that belongs to the owner of `deploy/postgres.sql`.
    ///
    /// # Panics
    /// When the server does not make it.
    pub fn database(&self) -> Database {
        let name = format!("orchard_{}", self.databases.fetch_add(1, Ordering::Relaxed));
        let port = self.port.to_string();
        run(Command::new(self.programs.join("createdb")).args([
            "-h",
            "127.0.0.1",
            "-p",
            &port,
            "-U",
            SYSTEM_USER,
            "-O",
            OWNER,
            &name,
        ]));
        let url = |user| format!("postgres://{user}@127.0.0.1:{port}/{name}");
        Database { owner: url(OWNER), service: url(SERVICE), administrator: url(SYSTEM_USER) }
    }

    /// What the administrator of a server does once.
    fn make_roles(&self, folder: &Path) {
        let file = folder.join("roles.sql");
        std::fs::write(&file, ROLES).expect("the folder takes a file");
        let port = self.port.to_string();
        run(Command::new(self.programs.join("psql"))
            .args(["-h", "127.0.0.1", "-p", &port, "-U", SYSTEM_USER, "-v", "ON_ERROR_STOP=1", "-q", "-f"])
            .arg(&file)
            .arg("postgres"));
    }

    fn initialise(&self, folder: &Path, data: &Path) {
        run(as_server(&self.programs.join("initdb"))
            .current_dir(folder)
            .arg("-D")
            .arg(data)
            .args(["-U", SYSTEM_USER, "--auth=trust", "--encoding=UTF8", "--locale=C"])
            // Only the making of the cluster is not synced; the server syncs.
            .arg("--no-sync"));
    }

    fn launch(&mut self, folder: &Path, data: &Path) {
        let log = folder.join("server.log");
        let mut said = String::new();
        for _ in 0..ATTEMPTS {
            self.port = free_port();
            let options = format!(
                "-p {} -c listen_addresses=127.0.0.1 -c unix_socket_directories={}",
                self.port,
                folder.display()
            );
            let started = as_server(&self.programs.join("pg_ctl"))
                .current_dir(folder)
                .arg("-D")
                .arg(data)
                .arg("-l")
                .arg(&log)
                .args(["-w", "-o", &options, "start"])
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .expect("pg_ctl is there beside initdb");
            if started.success() {
                return;
            }
            said = std::fs::read_to_string(&log).unwrap_or_default();
        }
        panic!("Postgres did not start in {ATTEMPTS} attempts; its log says:\n{said}");
    }
}

impl Drop for Postgres {
    fn drop(&mut self) {
        // The guard's input ends here, and with it the cluster.
        drop(self.guard.stdin.take());
        let _ = self.guard.wait();
    }
}

/// Starts the shell that outlives the test's process. It has a process group
/// of its own, so that what ends the test does not end it too.
fn guard(programs: &Path, folder: &Path, data: &Path) -> Child {
    let stop = as_server(&programs.join("pg_ctl"));
    Command::new("sh")
        .args(["-c", GUARD, "guard"])
        .arg(stop.get_program())
        .args(stop.get_args())
        .env("DATA", data)
        .env("FOLDER", folder)
        .current_dir("/")
        .process_group(0)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("sh runs")
}

/// The folder with the server's programs, of the highest version installed.
fn programs() -> PathBuf {
    let versions = std::fs::read_dir(DEBIAN).into_iter().flatten().flatten();
    let newest = versions
        .filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok())
        .filter(|version| has_programs(&Path::new(DEBIAN).join(format!("{version}/bin"))))
        .max();
    if let Some(version) = newest {
        return Path::new(DEBIAN).join(format!("{version}/bin"));
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).find(|folder| has_programs(folder)).unwrap_or_else(|| {
        panic!(
            "this test needs Postgres and found no initdb and pg_ctl under {DEBIAN} or in PATH: \
             install the Debian package `postgresql` (apt-get install postgresql)"
        )
    })
}

fn has_programs(folder: &Path) -> bool {
    ["initdb", "pg_ctl", "createdb", "psql"].iter().all(|name| folder.join(name).is_file())
}

/// A command that runs as the server's user when the test runs as root.
fn as_server(program: &Path) -> Command {
    if !is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("runuser");
    command.args(["-u", SYSTEM_USER, "--"].map(OsStr::new)).arg(program);
    command
}

pub(crate) fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output().expect("id runs");
    id.stdout.trim_ascii() == b"0"
}

pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port is free");
    listener.local_addr().expect("a bound listener has an address").port()
}

pub(crate) fn run(command: &mut Command) {
    let Output { status, stdout, stderr } = command
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|error| panic!("{command:?} does not run: {error}"));
    assert!(
        status.success(),
        "{command:?} failed: {}{}",
        String::from_utf8_lossy(&stdout),
        String::from_utf8_lossy(&stderr)
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dropped_cluster_is_stopped_and_removed() {
        let cluster = Postgres::start();
        let url = cluster.database().service;
        assert!(url.starts_with("postgres://bloomtide@"), "{url}");
        let port = cluster.port;
        assert!(std::net::TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_ok());
        drop(cluster);
        assert!(std::net::TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err());
    }
}
