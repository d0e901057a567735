//! The field log: what holds of it.

/// Something written down in the field.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What names it; entries of one id are the same entry.
    pub id: String,
    /// Unix second of what was observed.
    pub at: i64,
    /// What it says.
    pub what: What,
}

/// What an entry says.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Live open flowers on each of some trees.
    OpenCount(Vec<i64>),
    /// The threshold was reached.
    BloomStart,
    /// No flower is left to open.
    BloomEnd,
    /// Whether to thin this year.
    Decision {
        /// Whether to thin.
        thin: bool,
    },
    /// A spray that began at the entry's time, or ended then where its begin was
    /// not logged.
    Spray {
        /// Unix second of its end; none is a draft.
        finished_at: Option<i64>,
        /// Whether the plan names its material.
        planned: bool,
        /// What the person says of its being for thinning.
        thins: Option<bool>,
        /// Whether it took; rain spoils a spray.
        took: bool,
        /// Share of the block that got it.
        share_of_block: f64,
    },
    /// Another entry as it should read.
    Correction {
        /// Id of the entry that it corrects.
        of: String,
        /// The whole entry, of the same kind.
        entry: Box<Entry>,
    },
    /// Another entry is taken back.
    Withdrawal {
        /// Id of the entry taken back.
        of: String,
    },
}

/// What holds of a log at some moment.
pub struct Seen {
    /// Counts by time: Unix second, and open flowers on each tree.
    pub counts: Vec<(i64, Vec<i64>)>,
    /// Unix second of the earliest logged start.
    pub bloom_start: Option<i64>,
    /// Unix second of the earliest logged end of bloom.
    pub bloom_end: Option<i64>,
    /// Sprays that end a leg, by time: Unix second of the begin, and id.
    pub sprays: Vec<(i64, String)>,
    /// Unix seconds of the corrections and withdrawals that speak of something,
    /// rising.
    pub amended: Vec<i64>,
    decision: Option<(i64, bool)>,
}

impl Seen {
    /// What holds at `now` of entries in any order and number.
    pub fn new(entries: &[Entry], now: i64) -> Self {
        let mut holding = holding(entries, now);
        holding.sort_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id)));
        let first = |wanted: What| holding.iter().find(|entry| entry.what == wanted).map(|entry| entry.at);
        Seen {
            counts: holding
                .iter()
                .filter_map(|entry| match &entry.what {
                    What::OpenCount(open) => Some((entry.at, open.clone())),
                    _ => None,
                })
                .collect(),
            bloom_start: first(What::BloomStart),
            bloom_end: first(What::BloomEnd),
            sprays: holding
                .iter()
                .filter(|entry| ends_a_leg(&entry.what, now))
                .map(|entry| (entry.at, entry.id.clone()))
                .collect(),
            amended: amended(entries, now),
            decision: holding.iter().rev().find_map(|entry| match entry.what {
                What::Decision { thin } => Some((entry.at, thin)),
                _ => None,
            }),
        }
    }

    /// Unix second since which the block is not to be thinned.
    pub fn stood_down(&self) -> Option<i64> {
        self.decision.filter(|decision| !decision.1).map(|decision| decision.0)
    }
}

/// Unix seconds of what was amended by `now`, rising. A correction that was taken
/// back amends nothing, nor does what speaks of no entry or of a withdrawal.
fn amended(entries: &[Entry], now: i64) -> Vec<i64> {
    let of = |id: &str| entries.iter().find(|entry| entry.id == id).map(|entry| &entry.what);
    let amends = |entry: &&Entry| match &entry.what {
        What::Withdrawal { of: id } => of(id).is_some_and(|what| !matches!(what, What::Withdrawal { .. })),
        What::Correction { of: id, entry: reads } => {
            !withdrawn(entries, &entry.id, now) && of(id).is_some_and(|what| same_kind(what, &reads.what))
        }
        _ => false,
    };
    let known = entries.iter().filter(|entry| entry.at <= now);
    let mut amended: Vec<i64> = known.filter(amends).map(|entry| entry.at).collect();
    amended.sort_unstable();
    amended
}

/// Whether an entry was taken back by `now`.
fn withdrawn(entries: &[Entry], id: &str, now: i64) -> bool {
    let takes_back = |entry: &Entry| matches!(&entry.what, What::Withdrawal { of } if of == id);
    entries.iter().any(|entry| entry.at <= now && takes_back(entry))
}

fn same_kind(one: &What, other: &What) -> bool {
    std::mem::discriminant(one) == std::mem::discriminant(other)
}

/// Entries as they now read, under the ids that they were first written with.
fn holding(entries: &[Entry], now: i64) -> Vec<Entry> {
    let known: Vec<&Entry> = entries.iter().filter(|entry| entry.at <= now).collect();
    let withdrawn = |id: &str| withdrawn(entries, id, now);
    let mut holding: Vec<Entry> = Vec::new();
    for entry in entries {
        let amends = matches!(entry.what, What::Correction { .. } | What::Withdrawal { .. });
        if amends || withdrawn(&entry.id) || holding.iter().any(|held| held.id == entry.id) {
            continue;
        }
        let corrections = known.iter().filter_map(|other| match &other.what {
            What::Correction { of, entry: reads } if *of == entry.id && !withdrawn(&other.id) => {
                same_kind(&reads.what, &entry.what).then_some((&other.id, reads))
            }
            _ => None,
        });
        let reads = corrections.max_by_key(|(id, _)| *id).map_or(entry, |(_, reads)| reads.as_ref());
        if reads.at <= now {
            holding.push(Entry { id: entry.id.clone(), ..reads.clone() });
        }
    }
    holding
}

/// Whether it is a spray for thinning, over, on the whole block, that took.
fn ends_a_leg(what: &What, now: i64) -> bool {
    let What::Spray { finished_at, planned, thins, took, share_of_block } = what else { return false };
    finished_at.is_some_and(|finish| finish <= now)
        && thins.unwrap_or(*planned)
        && *took
        && *share_of_block >= 1.0
}
