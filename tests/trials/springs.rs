//! Springs drawn at random: readings with daily waves, noise and holes, and a
//! log of counts, sprays and second thoughts, as people keep it.

use super::reference::{Block, DAY, Entry, HOUR, Reading, What};

/// Pseudo-random numbers after Steele, Lea and Flood (2014), "splitmix64".
pub struct Dice(u64);

impl Dice {
    /// Numbers that follow from a seed alone.
    pub fn new(seed: u64) -> Self {
        Dice(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A whole number from `least` to `greatest`, both within it.
    pub fn whole(&mut self, least: i64, greatest: i64) -> i64 {
        let many = u64::try_from(greatest - least + 1).expect("least is not above greatest");
        least + i64::try_from(self.next() % many).expect("it is below a span of whole numbers")
    }

    /// A number from `least` to below `greatest`.
    pub fn number(&mut self, least: f64, greatest: f64) -> f64 {
        least + (greatest - least) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Whether a thing of so many per cent came about.
    pub fn percent(&mut self, chance: i64) -> bool {
        self.whole(1, 100) <= chance
    }

    fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.whole(0, last as i64) as usize;
            items.swap(last, other);
        }
    }
}

/// Buds a tree are counted, flowers a bud are agreed: so many.
pub const FLOWERS_PER_CLUSTER: i64 = 5;

/// A block in one spring.
#[derive(Debug)]
pub struct Spring {
    /// What was agreed.
    pub block: Block,
    /// Buds a tree where they were counted.
    pub buds: Option<i64>,
    /// One source's readings.
    pub readings: Vec<Reading>,
    /// The log, in no order.
    pub entries: Vec<Entry>,
    /// Unix second at which it is looked at.
    pub now: i64,
}

impl Spring {
    /// The spring that follows from a seed.
    pub fn of(seed: u64) -> Spring {
        let dice = &mut Dice::new(seed);
        // Some midnight in April of 2020 to 2025.
        let begin = 1_585_699_200 + dice.whole(0, 5) * 365 * DAY + dice.whole(0, 29) * DAY;
        let days = dice.whole(20, 30);
        let threshold = dice.whole(40, 200);
        let buds = dice.percent(50).then(|| dice.whole(60, 260));
        let block = Block {
            curve: curve(dice),
            marks: (0..dice.whole(1, 3)).map(|_| dice.whole(5, 150) as f64 / 100.0).collect(),
            threshold: threshold as f64,
            flowers: buds.map(|buds| (buds * FLOWERS_PER_CLUSTER) as f64),
            overrun_margin: dice.whole(0, 8) as f64 / 16.0,
            age_limit: dice.whole(6, 21) * DAY,
        };
        let readings = readings(dice, begin, days);
        // Mostly late in bloom, at times long after.
        let end = begin + days * DAY;
        let now =
            if dice.percent(80) { dice.whole(begin + 6 * DAY, end) } else { end + dice.whole(0, 10 * DAY) };
        let entries = entries(dice, begin, end, threshold, now);
        Spring { block, buds, readings, entries, now }
    }
}

/// The curve `reference`, or one that bends anywhere.
fn curve(dice: &mut Dice) -> Vec<(f64, f64)> {
    if dice.percent(50) {
        let hundredths = [0, 8, 9, 10, 11, 12, 14, 17, 20, 25, 35, 50]
            .into_iter()
            .map(|hundredth| f64::from(hundredth) / 100.0);
        let cool = (4_i32..).map(f64::from).zip(hundredths);
        return cool.chain([(24.0, 1.0), (30.0, 1.05), (43.7, 0.0)]).collect();
    }
    let mut celsius = dice.number(2.0, 7.0);
    let mut nodes = vec![(celsius, 0.0)];
    for _ in 0..dice.whole(1, 8) {
        celsius += dice.number(0.5, 6.0);
        nodes.push((celsius, dice.number(0.05, 1.3)));
    }
    nodes.push((celsius + dice.number(1.0, 12.0), 0.0));
    nodes
}

fn readings(dice: &mut Dice, begin: i64, days: i64) -> Vec<Reading> {
    let cadence = [HOUR, HOUR, HOUR, HOUR / 4, HOUR / 2, 2 * HOUR, 3 * HOUR][dice.whole(0, 6) as usize];
    let (mean, swing, rise) = (dice.number(8.0, 15.0), dice.number(3.0, 9.0), dice.number(-0.1, 0.3));
    let offset = if dice.percent(40) { dice.whole(0, cadence - 1) } else { 0 };
    let restless = dice.percent(25);
    let mut readings: Vec<Reading> = (0..=days * DAY / cadence)
        .map(|n| {
            let at = begin + offset + n * cadence + if restless { dice.whole(0, cadence / 3) } else { 0 };
            let day = (at - begin) as f64 / DAY as f64;
            let wave = swing * (std::f64::consts::TAU * (day - 0.83)).cos();
            let weather = mean + rise * day + 3.0 * (day / 2.3).sin() + wave + dice.number(-1.5, 1.5);
            // Frost on the way is another trial's.
            Reading { at, celsius: (weather.max(0.5) * 10.0).round() / 10.0 }
        })
        .collect();
    if dice.percent(10) {
        // The station was put up late.
        let put_up = begin + dice.whole(2, 9) * DAY;
        readings.retain(|reading| reading.at >= put_up);
    }
    for _ in 0..dice.whole(0, 4) {
        let from = begin + dice.whole(0, days * DAY);
        let to = from
            + if dice.percent(50) { dice.whole(HOUR, 5 * HOUR) } else { dice.whole(5 * HOUR, 60 * HOUR) };
        readings.retain(|reading| reading.at < from || reading.at > to);
    }
    // They come in no order.
    dice.shuffle(&mut readings);
    readings
}

fn entries(dice: &mut Dice, begin: i64, end: i64, threshold: i64, now: i64) -> Vec<Entry> {
    let mut said: Vec<(i64, What)> = Vec::new();
    let bloom = begin + dice.whole(3 * DAY, 10 * DAY);
    let mut open = threshold as f64 * dice.number(0.0, 0.6);
    let mut at = bloom - dice.whole(0, 2 * DAY);
    for _ in 0..dice.whole(0, 5) {
        said.push((at, What::OpenCount(count(dice, open))));
        at += dice.whole(6 * HOUR, 40 * HOUR);
        open = open * dice.number(0.9, 3.0) + 5.0;
    }
    if dice.percent(35) {
        said.push((bloom, What::BloomStart));
    }
    let mut at = bloom + dice.whole(-DAY, 2 * DAY);
    for _ in 0..dice.whole(0, 5) {
        at += if dice.percent(15) { dice.whole(0, 3 * HOUR) } else { dice.whole(12 * HOUR, 5 * DAY) };
        said.push((at, spray(dice, at)));
    }
    for _ in 0..dice.whole(0, 5) / 4 + dice.whole(0, 5) / 4 {
        said.push((dice.whole(bloom - DAY, end), What::Decision { thin: dice.percent(60) }));
    }
    if dice.percent(25) {
        said.push((dice.whole(bloom + 4 * DAY, end), What::BloomEnd));
    }
    let mut numbers: Vec<usize> = (0..said.len()).collect();
    dice.shuffle(&mut numbers);
    let named = said.into_iter().zip(numbers);
    let mut entries: Vec<Entry> =
        named.map(|((at, what), number)| Entry { id: format!("e{number:02}"), at, what }).collect();
    amend(dice, &mut entries, now);
    // Phones come back late, and send again what they are not sure of.
    if let Some(again) = entries.first().cloned().filter(|_| dice.percent(30)) {
        entries.push(again);
    }
    dice.shuffle(&mut entries);
    entries
}

/// Open flowers on one tree to six trees about a mean.
fn count(dice: &mut Dice, mean: f64) -> Vec<i64> {
    (0..dice.whole(1, 6)).map(|_| (mean * dice.number(0.7, 1.3)) as i64).collect()
}

fn spray(dice: &mut Dice, at: i64) -> What {
    let finished_at = (!dice.percent(10)).then(|| at + dice.whole(0, 4 * HOUR));
    What::Spray {
        finished_at,
        planned: dice.percent(80),
        thins: dice.percent(25).then(|| dice.percent(60)),
        took: !dice.percent(15),
        share_of_block: if dice.percent(10) { 0.5 } else { 1.0 },
    }
}

/// Second thoughts about some entries.
fn amend(dice: &mut Dice, entries: &mut Vec<Entry>, now: i64) {
    if entries.is_empty() {
        return;
    }
    for number in 0..dice.whole(0, 4) {
        let entry = entries[dice.whole(0, entries.len() as i64 - 1) as usize].clone();
        let at = (entry.at + dice.whole(0, 4 * DAY)).min(now + DAY);
        let what = match &entry.what {
            // Of these only the first does anything: what was taken back stays so.
            What::Correction { .. } | What::Withdrawal { .. } => What::Withdrawal { of: entry.id },
            _ if dice.percent(35) => What::Withdrawal { of: entry.id },
            _ => What::Correction { of: entry.id.clone(), entry: Box::new(reads_now(dice, entry)) },
        };
        entries.push(Entry { id: format!("m{number:02}"), at, what });
    }
}

/// An entry as it should have read.
fn reads_now(dice: &mut Dice, entry: Entry) -> Entry {
    let at = entry.at + if dice.percent(50) { dice.whole(-DAY, DAY) } else { 0 };
    let what = match entry.what {
        What::OpenCount(open) => {
            let by = dice.number(0.5, 2.0);
            What::OpenCount(open.into_iter().map(|one| (one as f64 * by) as i64).collect())
        }
        What::Spray { .. } => spray(dice, at),
        What::Decision { thin } => What::Decision { thin: thin != dice.percent(50) },
        other => other,
    };
    Entry { id: entry.id, at, what }
}
