//! The database is locked by another, or its disk is full. No pass is done by half, and
//! all goes on by itself afterwards.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use sqlx::postgres::PgConnection;
use sqlx::sqlite::SqliteConnection;
use sqlx::{Connection, Executor};
use tempfile::TempDir;

use crate::air::{DAY, HOUR};
use crate::dice::Dice;
use crate::orchard::Orchard;
use crate::rig::{Ended, On, Rig};
use crate::tally::{Names, Tally, undisturbed};
use crate::{number, seed};

/// The clock's step.
const STEP: i64 = 30 * 60;

/// A reading comes within the hour in which its cell is fetched; and a step.
const ALLOWED: i64 = 100 * 60;

/// How long it is locked, by the clock on the wall: shorter and longer than whoever
/// waits for it does. The clock of the service goes on by ten minutes and more.
const LOCKED: [Duration; 3] =
    [Duration::from_millis(300), Duration::from_secs(1), Duration::from_millis(6_500)];

/// Size of the small disk, in kB.
const DISK: u64 = 24 * 1_024;

const BLOCKS: usize = 24;
const TROUBLES: u64 = 10;

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_database_is_waited_for_on_sqlite() {
    under("database locked", On::Sqlite, 3, false).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_database_is_waited_for_on_postgres() {
    under("database locked", On::Postgres, 3, false).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_loses_nothing() {
    under("disk full", On::Sqlite, 2, true).await;
}

async fn under(trial: &str, on: On, usual: u64, full: bool) {
    let seed = seed();
    let wanted = number(usual);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(on, seed.wrapping_add(part), left.min(TROUBLES), full).await);
    }
    tally.tell(trial, on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

async fn spring(on: On, seed: u64, wanted: u64, full: bool) -> Tally {
    let mut dice = Dice::new(seed);
    let disk = full.then(Disk::mount);
    let mut rig = Rig::start_in(on, seed, 1, disk.as_ref().map(Disk::path)).await;
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, BLOCKS, DAY).await;
    rig.pass(60).await;
    let mut troubles: Vec<(i64, i64)> = Vec::new();
    while rig.now < orchard.last() + 4 * HOUR {
        orchard.step(&mut rig, STEP).await;
        assert_eq!(rig.rest().await, Ended::AtRest);
        if (troubles.len() as u64) < wanted && dice.percent(25) {
            let begin = rig.now;
            match &disk {
                Some(disk) => fill(&mut rig, &mut orchard, &mut dice, disk).await,
                None => lock(&mut rig, &mut dice).await,
            }
            troubles.push((begin, rig.now));
        }
    }
    rig.pass(STEP).await;
    let names = Names::ask(&rig.api()).await;
    let by = |from| undisturbed(from, ALLOWED, &troubles);
    let tally = Tally::count(&rig.log, &names, &orchard.expected(), |one| by(one.called), STEP);
    Tally { n: troubles.len() as u64, ..tally }
}

/// Another holds what every writer needs, while there is something to be done.
async fn lock(rig: &mut Rig, dice: &mut Dice) {
    let held = *dice.one_of(&LOCKED);
    let before = dice.below(u64::try_from(rig.took.as_micros()).unwrap().max(1));
    rig.set(rig.now + STEP);
    tokio::time::sleep(Duration::from_micros(before)).await;
    match rig.owner() {
        None => {
            let url = format!("sqlite://{}", rig.database());
            let mut other = SqliteConnection::connect(&url).await.unwrap();
            other.execute("BEGIN IMMEDIATE").await.unwrap();
            tokio::time::sleep(held).await;
            other.execute("ROLLBACK").await.unwrap();
        }
        Some(url) => {
            let mut other = PgConnection::connect(url).await.unwrap();
            other.execute("BEGIN; LOCK TABLE season, alert, message, cell").await.unwrap();
            tokio::time::sleep(held).await;
            other.execute("ROLLBACK").await.unwrap();
        }
    }
    // What failed is tried again at the next step.
    rig.pass(STEP).await;
}

/// The disk is full for some steps, in which people go on logging.
async fn fill(rig: &mut Rig, orchard: &mut Orchard, dice: &mut Dice, disk: &Disk) {
    disk.fill();
    for _ in 0..dice.between(1, 4) {
        orchard.step(rig, STEP).await;
        // Passes fail, wait and fail again; whether all rest is nothing to go by.
        tokio::time::sleep(Duration::from_millis(400)).await;
        assert_eq!(rig.gone(), None, "it runs on");
    }
    disk.clear();
    rig.pass(STEP).await;
}

/// A disk that fills soon.
struct Disk(TempDir);

impl Disk {
    fn mount() -> Disk {
        let folder = tempfile::tempdir().unwrap();
        let size = format!("size={DISK}k");
        as_root(&["mount", "-t", "tmpfs", "-o", &size, "tmpfs", &path_of(folder.path())]);
        as_root(&["chmod", "0777", &path_of(folder.path())]);
        Disk(folder)
    }

    fn path(&self) -> PathBuf {
        self.0.path().to_owned()
    }

    fn ballast(&self) -> PathBuf {
        self.0.path().join("ballast")
    }

    /// Writes until nothing more fits.
    fn fill(&self) {
        let all = vec![0_u8; usize::try_from(DISK * 1_024).unwrap()];
        assert!(std::fs::write(self.ballast(), all).is_err(), "it is full before");
    }

    fn clear(&self) {
        std::fs::remove_file(self.ballast()).unwrap();
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        // Lazily: the program may still have its file open.
        as_root(&["umount", "-l", &path_of(self.0.path())]);
    }
}

fn path_of(path: &Path) -> String {
    path.display().to_string()
}

/// Mounting needs root.
fn as_root(arguments: &[&str]) {
    let root = rustix::process::getuid().is_root();
    let mut command = if root { Command::new(arguments[0]) } else { Command::new("sudo") };
    command.args(if root { &arguments[1..] } else { arguments });
    let done = command.output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}
