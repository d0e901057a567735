//! What came of a trial, counted at the mail server.

use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::io::Write;

use serde_json::json;

use crate::api::Api;
use crate::mail::Letter;
use crate::orchard::Expected;
use crate::rig::{Event, On};

/// The classes stay apart.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    /// Faults that counted.
    pub(crate) n: u64,
    /// Alerts called for.
    pub(crate) called: u64,
    /// Never came.
    pub(crate) missed: u64,
    /// Came later than the trial allows.
    pub(crate) late: u64,
    /// Not called for, or before it could be known.
    pub(crate) false_: u64,
    /// Came again under another Message-ID, with other bytes, or without a fault
    /// that left its outcome unknown.
    pub(crate) duplicate: u64,
    /// Named another moment.
    pub(crate) wrong_time: u64,
    /// The same bytes once more, after a fault that left the outcome unknown.
    pub(crate) copies: u64,
    /// The longest that one came after it could be known, seconds.
    pub(crate) longest: i64,
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Tally { n, called, missed, late, false_, duplicate, wrong_time, copies, longest } = self;
        write!(f, "N {n}, called for {called}: missed {missed}, late {late}, false {false_}, ")?;
        write!(
            f,
            "duplicate {duplicate}, wrong time {wrong_time}; copies {copies}, longest wait {longest} s, "
        )?;
        write!(f, "95 % bound {}", self.bound())
    }
}

/// Of whom, and what: block and kind.
pub(crate) type Key = (String, String);

/// What the service calls its alerts.
#[derive(Debug, Default)]
pub(crate) struct Names {
    keys: HashMap<String, Key>,
    /// The alert that one takes back, by ids.
    takes_back: HashMap<String, String>,
}

impl Names {
    pub(crate) async fn ask(api: &Api) -> Names {
        let mut names = Names::default();
        for alert in api.all("alerts").await {
            let word = |name: &str| alert[name].as_str().unwrap_or_default().to_owned();
            names.keys.insert(word("id"), (word("block_id"), word("kind")));
            if word("kind") == "withdrawn" {
                names.takes_back.insert(word("id"), word("subject"));
            }
        }
        names
    }

    /// Those of a database that is gone too.
    pub(crate) fn and(mut self, before: Names) -> Names {
        self.keys.extend(before.keys);
        self.takes_back.extend(before.takes_back);
        self
    }

    /// Block and kind of an alert.
    pub(crate) fn of(&self, id: &str) -> Option<&Key> {
        self.keys.get(id)
    }

    /// Block and kind of the alert that this one takes back.
    pub(crate) fn taken_back_by(&self, id: &str) -> Option<&Key> {
        self.keys.get(self.takes_back.get(id)?)
    }
}

impl Tally {
    /// Counts what was taken against what was called for. An alert is to come until
    /// `by`, and may come `a_kill` seconds later for each kill meanwhile.
    pub(crate) fn count(
        log: &[Event],
        names: &Names,
        called: &[Expected],
        by: impl Fn(&Expected) -> i64,
        a_kill: i64,
    ) -> Tally {
        let mut tally = Tally { called: called.len() as u64, ..Tally::default() };
        let carried = carried(log, names, &mut tally);
        let called: HashMap<Key, &Expected> =
            called.iter().map(|one| ((one.block.clone(), one.kind.to_owned()), one)).collect();
        tally.missed = called.keys().filter(|key| !carried.contains_key(*key)).count() as u64;
        for (key, came) in &carried {
            let Some(expected) = called.get(key) else {
                // A trial that runs on past the mark has its block overrun, once.
                let due = called.get(&(key.0.clone(), "due".to_owned()));
                let follows = key.1 == "overrun" && due.is_some_and(|due| came[0].at > due.called);
                if !follows {
                    say(&format!("not called for: {} {}", key.0, key.1));
                    tally.false_ += came.len() as u64;
                }
                tally.repeats(log, came);
                continue;
            };
            let first = &came[0];
            tally.longest = tally.longest.max(first.at - expected.called);
            tally.false_ += u64::from(first.at < expected.from);
            let kills = log[..first.place].iter().rev().take_while(|event| match event {
                Event::Taken(at, _) => *at >= expected.called,
                _ => true,
            });
            let kills =
                i64::try_from(kills.filter(|event| matches!(event, Event::Killed | Event::Stopped)).count())
                    .unwrap();
            let latest = by(expected) + kills * a_kill;
            if first.at > latest {
                let called = crate::orchard::at(expected.called);
                say(&format!("late by {} s: {} {}, called for {called}", first.at - latest, key.0, key.1));
                tally.late += 1;
            }
            tally.wrong_time += u64::from(!names_the_moment(&first.letter.words, expected));
            tally.repeats(log, came);
        }
        tally
    }

    /// The same mail once more is a copy where the outcome of the one before was
    /// unknown, and else a duplicate.
    fn repeats(&mut self, log: &[Event], came: &[Came]) {
        for pair in came.windows(2) {
            let same = pair[0].letter.id == pair[1].letter.id && pair[0].letter.bytes == pair[1].letter.bytes;
            let of_note = |event: &&Event| !matches!(event, Event::Taken(..));
            let next = log[pair[0].place..pair[1].place].iter().find(of_note);
            // Until all have come to rest, one that stopped may have sent it.
            let unrest = log[..pair[0].place].iter().rev().take_while(|event| !matches!(event, Event::Quiet));
            let stopped = unrest.into_iter().any(|event| matches!(event, Event::Stopped | Event::Resumed));
            let unknown = match next {
                Some(Event::Killed | Event::Stopped) => true,
                Some(Event::Quiet) => false,
                _ => stopped,
            };
            match same && unknown {
                true => self.copies += 1,
                false => {
                    self.duplicate += 1;
                    let around = &log[pair[0].place.saturating_sub(9)..=pair[1].place];
                    let told: Vec<String> = around.iter().map(Event::told).collect();
                    say(&format!("again, without an unknown outcome:\n{}", told.join("\n")));
                }
            }
        }
    }

    /// The 95 % bound of a rate of which none was seen.
    pub(crate) fn bound(&self) -> String {
        if self.n == 0 { "-".to_owned() } else { format!("{:.2e}", 3.0 / self.n as f64) }
    }

    /// Whether nothing went wrong.
    pub(crate) fn clean(&self) -> bool {
        [self.missed, self.late, self.false_, self.duplicate, self.wrong_time].iter().all(|count| *count == 0)
    }

    pub(crate) fn add(&mut self, other: &Tally) {
        self.n += other.n;
        self.called += other.called;
        self.missed += other.missed;
        self.late += other.late;
        self.false_ += other.false_;
        self.duplicate += other.duplicate;
        self.wrong_time += other.wrong_time;
        self.copies += other.copies;
        self.longest = self.longest.max(other.longest);
    }

    /// Prints it, and keeps it as a line for the table where one is asked for.
    pub(crate) fn tell(&self, trial: &str, on: On, seed: u64) {
        say(&format!("{trial}, {}, seed {seed}: {self}", on.word()));
        let Some(file) = std::env::var_os("TRIAL_OUT") else { return };
        let line = json!({
            "trial": trial, "database": on.word(), "seed": seed, "n": self.n, "called": self.called,
            "missed": self.missed, "late": self.late, "false": self.false_, "duplicate": self.duplicate,
            "wrong_time": self.wrong_time, "copies": self.copies, "longest": self.longest,
        });
        let mut file = std::fs::File::options().create(true).append(true).open(file).unwrap();
        writeln!(file, "{line}").unwrap();
    }
}

/// Until when an alert that can be known from some moment on is to come, where it may
/// take `allowed` seconds, and as long after each trouble, with begin and end, that
/// comes between.
pub(crate) fn undisturbed(from: i64, allowed: i64, troubles: &[(i64, i64)]) -> i64 {
    let meets = |by: i64, (begin, end): &(i64, i64)| {
        if *begin <= by && *end >= from { by.max(end + allowed) } else { by }
    };
    troubles.iter().fold(from + allowed, meets)
}

/// Says something beside the test's own output.
#[expect(clippy::print_stderr, reason = "each run says its seed and what came of it")]
pub(crate) fn say(text: &str) {
    eprintln!("{text}");
}

/// An alert that came, where in the log and at which time of the clock.
struct Came<'a> {
    place: usize,
    at: i64,
    letter: &'a Letter,
}

/// The alerts of the mails by block, kind and recipient, in order; those that the
/// service does not name count as false at once.
fn carried<'a>(log: &'a [Event], names: &Names, tally: &mut Tally) -> BTreeMap<Key, Vec<Came<'a>>> {
    let mut carried: BTreeMap<Key, Vec<Came<'a>>> = BTreeMap::new();
    for (place, event) in log.iter().enumerate() {
        let Event::Taken(at, letter) = event else { continue };
        for (kind, id) in &letter.alerts {
            match names.of(id) {
                Some((block, named)) if named == kind => {
                    let came = Came { place, at: *at, letter };
                    carried.entry((block.clone(), kind.clone())).or_default().push(came);
                }
                _ => tally.false_ += 1,
            }
        }
    }
    carried
}

/// Whether the block and the moment stand in the mail; sums of whole units may round
/// to the second before or after.
fn names_the_moment(words: &str, expected: &Expected) -> bool {
    let zone = "America/New_York".parse().unwrap();
    let spoken = |off: i64| model::time::Instant(expected.tells + off).spoken(zone);
    words.contains(&expected.block) && [-1, 0, 1].iter().any(|off| words.contains(&spoken(*off)))
}

#[cfg(test)]
mod tests;
