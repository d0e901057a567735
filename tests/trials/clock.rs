//! The clock is wrong for a while, by an hour, a day or a year, ahead or behind, and
//! the machine sleeps for hours. Nothing goes out early, twice or never.

use crate::air::{DAY, HOUR};
use crate::dice::Dice;
use crate::orchard::{Orchard, at};
use crate::rig::{Ended, On, Rig};
use crate::tally::{Names, Tally, say, undisturbed};
use crate::{number, seed};

/// The clock's step.
const STEP: i64 = 30 * 60;

/// After a fetch off its beat, as that when the clock is put right, a cell's next one may
/// come an hour and a half later, by some minutes of chance; and a step.
const ALLOWED: i64 = 130 * 60;

/// By how much it is wrong.
const WRONG: [i64; 3] = [HOUR, DAY, 365 * DAY];

/// Blocks of one orchard, and most troubles of its spring.
const BLOCKS: usize = 24;
const TROUBLES: u64 = 8;

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_wrong_for_a_while_tells_nothing_early_or_twice_on_sqlite() {
    wrong(On::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_wrong_for_a_while_tells_nothing_early_or_twice_on_postgres() {
    wrong(On::Postgres).await;
}

async fn wrong(on: On) {
    let seed = seed();
    let wanted = number(6);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(on, seed.wrapping_add(part), left.min(TROUBLES)).await);
    }
    tally.tell("clock", on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// One spring with at most so many troubles.
async fn spring(on: On, seed: u64, wanted: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let mut rig = Rig::start(on, seed, 1).await;
    let mut orchard = Orchard::plant(&rig.api(), seed, 4, BLOCKS, DAY).await;
    rig.pass(60).await;
    let mut troubles: Vec<(i64, i64)> = Vec::new();
    while rig.now < orchard.last() + 4 * HOUR {
        orchard.step(&mut rig, STEP).await;
        assert_eq!(rig.rest().await, Ended::AtRest);
        if (troubles.len() as u64) < wanted && dice.percent(25) {
            let begin = rig.now;
            match dice.percent(30) {
                true => rig.pass(dice.between(HOUR, 9 * HOUR)).await,
                false => off(&mut rig, &mut dice).await,
            }
            troubles.push((begin, rig.now));
        }
    }
    rig.pass(STEP).await;
    let names = Names::ask(&rig.api()).await;
    let by = |from| undisturbed(from, ALLOWED, &troubles);
    let tally = Tally::count(&rig.log, &names, &orchard.expected(), |one| by(one.called), STEP);
    if !tally.clean() {
        troubles.iter().for_each(|(begin, end)| say(&format!("trouble from {} to {}", at(*begin), at(*end))));
    }
    Tally { n: troubles.len() as u64, ..tally }
}

/// The clock is off for some steps, and right again.
async fn off(rig: &mut Rig, dice: &mut Dice) {
    let by = *dice.one_of(&WRONG);
    rig.wrong = if dice.percent(50) { by } else { -by };
    for _ in 0..dice.between(1, 5) {
        if dice.percent(20) {
            rig.kill(0);
            rig.launch(0);
        }
        rig.pass(STEP).await;
    }
    rig.wrong = 0;
    rig.pass(60).await;
}
