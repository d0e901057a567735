//! Backups under load, and restores of them hours later: what went out meanwhile does
//! not go out again, what is still called for does, and the weather since is fetched.

use std::time::Duration;

use black_box::program::{Build, command, run};

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

/// Blocks of one orchard, and most restores of its spring.
const BLOCKS: usize = 40;
const RESTORES: u64 = 8;

#[tokio::test(flavor = "multi_thread")]
async fn a_restore_to_any_moment_sends_nothing_again() {
    let seed = seed();
    let wanted = number(4);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(seed.wrapping_add(part), left.min(RESTORES)).await);
    }
    tally.tell("restore", On::Sqlite, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring with at most so many restores.
async fn spring(seed: u64, wanted: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut rig = Rig::start(On::Sqlite, seed, 1).await;
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, BLOCKS, DAY).await;
    rig.pass(60).await;
    let mut restores: Vec<(i64, i64)> = Vec::new();
    let mut names = Names::default();
    while rig.now < orchard.last() + 4 * HOUR {
        go_on(&mut rig, &mut orchard, dice.between(1, 4)).await;
        if restores.len() as u64 == wanted {
            continue;
        }
        let backup = rig.path(&format!("backup-{}.db", restores.len())).display().to_string();
        let begin = rig.now;
        back_up(&mut rig, &mut orchard, &mut dice, &backup).await;
        go_on(&mut rig, &mut orchard, dice.between(0, 6)).await;
        names = Names::ask(&rig.api()).await.and(names);
        rig.kill(0);
        let database = rig.database();
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(format!("{database}{end}"));
        }
        let restored = run(Build::Trial, &["restore", "--database", &database, &backup]);
        assert!(restored.status.success(), "{}", String::from_utf8_lossy(&restored.stderr));
        rig.launch(0);
        orchard.forget();
        go_on(&mut rig, &mut orchard, 1).await;
        restores.push((begin, rig.now));
    }
    let names = Names::ask(&rig.api()).await.and(names);
    let by = |from| undisturbed(from, ALLOWED, &restores);
    let tally = Tally::count(&rig.log, &names, &orchard.expected(), |one| by(one.called), STEP);
    Tally { n: restores.len() as u64, ..tally }
}

/// Makes a backup while the service is at work.
async fn back_up(rig: &mut Rig, orchard: &mut Orchard, dice: &mut Dice, file: &str) {
    let database = rig.database();
    orchard.step(rig, STEP).await;
    let delay = dice.below(u64::try_from(rig.took.as_micros()).unwrap().max(1));
    tokio::time::sleep(Duration::from_micros(delay)).await;
    let mut child = command(Build::Trial, &["backup", "--database", &database, file]).spawn().unwrap();
    assert_eq!(rig.rest().await, Ended::AtRest);
    assert!(child.wait().unwrap().success());
}

async fn go_on(rig: &mut Rig, orchard: &mut Orchard, steps: i64) {
    for _ in 0..steps {
        orchard.step(rig, STEP).await;
        assert_eq!(rig.rest().await, Ended::AtRest);
    }
}
