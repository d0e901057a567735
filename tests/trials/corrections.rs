//! Late corrections: readings and entries revised before and after the alert, in
//! random order. A season that had everything at once is the same to the bit, no
//! alert comes twice, and after each step exactly what holds then is told.

mod schedule;

use std::collections::HashMap;

use serde_json::{Value, json};

use crate::air::{Air, HOUR};
use crate::api::Api;
use crate::dice::Dice;
use crate::orchard::{GROWER, MARK};
use crate::rig::{Event, On, Rig};
use crate::stepwise::disagrees;
use crate::straight::{Called, called, seconds};
use crate::tally::{Key, Names, Tally, say};
use crate::{number, seed};
use schedule::{Course, END, Place, file};

/// The clock's step.
const STEP: i64 = 2 * HOUR;

/// One season in so many is worked out in steps of five seconds, too, after each step.
const STEPWISE_EVERY: usize = 20;

/// Seasons on one place, and at most on one service.
const ON_A_PLACE: usize = 10;
const AT_ONCE: u64 = 250;

#[tokio::test(flavor = "multi_thread")]
async fn whatever_comes_late_or_wrong_a_season_ends_as_if_it_had_come_at_once_on_sqlite() {
    corrected(On::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_comes_late_or_wrong_a_season_ends_as_if_it_had_come_at_once_on_postgres() {
    corrected(On::Postgres).await;
}

async fn corrected(on: On) {
    let seed = seed();
    let wanted = number(40);
    let mut tally = Tally::default();
    for part in 0.. {
        let left = wanted.saturating_sub(tally.n);
        if left == 0 {
            break;
        }
        tally.add(&spring(on, seed.wrapping_add(part), left.min(AT_ONCE)).await);
    }
    tally.tell("late corrections", on, seed);
    assert!(tally.clean(), "seed {seed}: {tally}");
}

/// Many seasons side by side.
struct Spring {
    places: Vec<Place>,
    courses: Vec<Course>,
    /// What is to be told after each step, and how far the log went then.
    steps: Vec<(usize, Vec<Called>)>,
}

/// So many seasons from begin to end, and the same with everything at once.
async fn spring(on: On, seed: u64, seasons: u64) -> Tally {
    let mut dice = Dice::new(seed);
    let seasons = usize::try_from(seasons).unwrap();
    let place =
        |n: usize| Place::new(format!("place-{n}"), Air::of(seed, 40.0 + n as f64, -74.2), n % 4 == 3);
    let mut spring = Spring {
        places: (0..seasons.div_ceil(ON_A_PLACE)).map(place).collect(),
        courses: (0..seasons)
            .map(|n| Course::throw(&mut dice, format!("block-{n:04}"), n / ON_A_PLACE))
            .collect(),
        steps: Vec::new(),
    };
    let mut tally = Tally { n: seasons as u64, ..Tally::default() };
    let mut rig = Rig::start(on, seed, 1).await;
    let api = rig.api();
    set_up(&api, &spring.places, &spring.courses).await;
    rig.pass(60).await;
    while rig.now < END {
        rig.set((rig.now + STEP).min(END));
        spring.news(&api, &mut dice, rig.now).await;
        rig.pass(1).await;
        spring.steps.push((rig.log.len(), spring.called()));
        tally.wrong_time += spring.disagreements(rig.now);
    }
    spring.told(&rig.log, &Names::ask(&api).await, &mut tally);

    let mut whole = Rig::start(on, seed, 1).await;
    spring.at_once(&mut whole, &mut dice).await;
    spring.compare(&api, &whole.api(), &mut tally).await;
    tally
}

impl Spring {
    /// What comes in at one step.
    async fn news(&mut self, api: &Api, dice: &mut Dice, now: i64) {
        for place in &mut self.places {
            let news = match now == END {
                true => place.truth(),
                false if dice.percent(80) => place.news(dice, now),
                false => Vec::new(),
            };
            if !news.is_empty() {
                upload(api, place, &news).await;
            }
        }
        for course in &mut self.courses {
            let mut news = course.news(now);
            dice.shuffle(&mut news);
            append(api, course, news).await;
        }
    }

    /// What is to be told on what is known.
    fn called(&self) -> Vec<Called> {
        let known = |course: &Course| course.known(&self.places[course.place].known, MARK);
        self.courses.iter().map(|course| called(&known(course))).collect()
    }

    /// How often the reference program of five-second steps comes to something else
    /// than the straight line: it looks at some seasons at each step, and at all at last.
    fn disagreements(&self, now: i64) -> u64 {
        let called = &self.steps.last().expect("there was a step").1;
        // Wild readings lie beyond the straight part of the curve.
        let straight = |n: &usize| !self.places[self.courses[*n].place].checked;
        let looks =
            |n: &usize| now >= END || (straight(n) && (n + self.steps.len()).is_multiple_of(STEPWISE_EVERY));
        let disagree = |n: &usize| {
            let course = &self.courses[*n];
            let known = course.known(&self.places[course.place].known, MARK);
            let said = disagrees(&known, now, &called[*n]);
            said.inspect(|said| say(&format!("{} at {now}: {said}", course.block))).is_some()
        };
        (0..self.courses.len()).filter(looks).filter(disagree).count() as u64
    }

    /// Counts the mails: after each step what was told and not taken back must be what
    /// the reference calls for.
    fn told(&self, log: &[Event], names: &Names, tally: &mut Tally) {
        let mut standing: HashMap<Key, i64> = HashMap::new();
        let mut ids: HashMap<&str, u64> = HashMap::new();
        let mut heard = 0;
        for (until, called) in &self.steps {
            for event in &log[heard..*until] {
                let Event::Taken(_, letter) = event else { continue };
                *ids.entry(&letter.id).or_default() += 1;
                for (kind, id) in &letter.alerts {
                    let back = kind == "withdrawn";
                    match if back { names.taken_back_by(id) } else { names.of(id) } {
                        Some(key) => *standing.entry(key.clone()).or_default() += if back { -1 } else { 1 },
                        None => tally.false_ += 1,
                    }
                }
            }
            heard = *until;
            let plain = |course: &&Course| !self.places[course.place].checked;
            for (course, called) in self.courses.iter().zip(called).filter(|(course, _)| plain(course)) {
                let told = |kind: &str| standing.get(&(course.block.clone(), kind.to_owned())).copied();
                let sprayed = called.sprayed.is_some();
                count(told("started").unwrap_or(0), called.start.is_some(), sprayed, tally);
                // Where both come up in one pass `overrun` stands for `due`.
                let due = told("due").filter(|told| *told != 0).or_else(|| told("overrun"));
                count(due.unwrap_or(0), called.due().is_some(), sprayed, tally);
            }
            // A time may move, and readings stay away, more than once.
            let once = |key: &Key| !["moved", "blind"].contains(&key.1.as_str());
            let odd = standing.iter().filter(|(key, told)| once(key) && !(0..=1).contains(*told));
            tally.duplicate += odd.count() as u64;
        }
        tally.duplicate += ids.values().map(|copies| copies - 1).sum::<u64>();
    }

    /// Gives a second service all at once, in another order.
    async fn at_once(&mut self, whole: &mut Rig, dice: &mut Dice) {
        let api = whole.api();
        set_up(&api, &self.places, &self.courses).await;
        whole.set(END + 1);
        for place in &mut self.places {
            let truth = place.truth();
            upload(&api, place, &truth).await;
        }
        for course in &self.courses {
            let mut entries: Vec<Value> = course.entries.iter().map(|(_, entry)| entry.clone()).collect();
            dice.shuffle(&mut entries);
            append(&api, course, entries).await;
        }
        whole.pass(1).await;
    }

    /// The seasons of both must be the same, and tell the reference's times. One that
    /// is not counts as a wrong time.
    async fn compare(&self, late: &Api, at_once: &Api, tally: &mut Tally) {
        let last = &self.steps.last().expect("there were steps").1;
        for (course, called) in self.courses.iter().zip(last) {
            let path = format!("blocks/{}/seasons/2026", course.block);
            let (late, once) = (late.get(&path).await, at_once.get(&path).await);
            if without_versions(&late) != without_versions(&once) {
                tally.wrong_time += 1;
                say(&format!("{} differs:\n{late}\n{once}", course.block));
            }
            let reached = &late["legs"][0]["reached_at"];
            let same = match (reached.is_string(), called.due()) {
                // Sums of whole units may round to the second before or after.
                (true, Some(expected)) => (seconds(reached) - expected).abs() <= 1,
                (false, None) => true,
                _ => false,
            };
            if !same && !self.places[course.place].checked {
                tally.wrong_time += 1;
                say(&format!("{}: reached {reached}, reference {called:?}", course.block));
            }
        }
    }
}

async fn set_up(api: &Api, places: &[Place], courses: &[Course]) {
    api.post("farms", json!({"id": "farm", "name": "Quernstone", "alert_emails": [GROWER]})).await;
    for (number, place) in places.iter().enumerate() {
        let site = json!({
            "id": place.id, "farm_id": "farm", "name": place.id, "latitude": 40.0 + number as f64 / 10.0,
            "longitude": -74.2, "time_zone": "America/New_York",
        });
        api.post("sites", site).await;
        let mapping = json!({
            "time_column": "time", "temperature_column": "celsius", "unit": "celsius", "kind": "instant",
            "checks": if place.checked { "on" } else { "off" },
        });
        let source =
            json!({"id": format!("{}-source", place.id), "name": "mast", "way": "file", "mapping": mapping});
        api.post(&format!("sites/{}/sources", place.id), source).await;
    }
    for course in courses {
        let document = json!({
            "id": course.block, "farm_id": "farm", "site_id": places[course.place].id, "name": course.block,
            "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 100,
        });
        api.post("blocks", document).await;
        let plan = json!({"sprays": [{"material": "ammonium-thiosulfate", "mark": MARK}]});
        api.put(&format!("blocks/{}/seasons/2026/plan", course.block), plan).await;
    }
}

async fn upload(api: &Api, place: &Place, readings: &[(i64, f64)]) {
    let path = format!("sites/{}/readings?source={}-source", place.id, place.id);
    let answer = api.upload(&path, file(readings)).await;
    assert_eq!(answer["refused"], json!(0), "{answer}");
}

async fn append(api: &Api, course: &Course, entries: Vec<Value>) {
    if !entries.is_empty() {
        api.post(&format!("blocks/{}/seasons/2026/log", course.block), json!({"entries": entries})).await;
    }
}

/// One alert at the end of one step. Once a spray is logged it may stand or not: it
/// is closed, and a spray taken back leaves what was told before.
fn count(told: i64, called: bool, sprayed: bool, tally: &mut Tally) {
    tally.called += u64::from(called);
    tally.missed += u64::from(called && told == 0 && !sprayed);
    tally.false_ += u64::from(!called && told > 0 && !sprayed);
}

/// A season without what tells how often it was reckoned.
fn without_versions(season: &Value) -> Value {
    let mut season = season.clone();
    if let Some(fields) = season.as_object_mut() {
        fields.retain(|name, _| {
            !["versions", "reckoned_at", "reckoned_from", "look_again_at"].contains(&name.as_str())
        });
    }
    season
}
