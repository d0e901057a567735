//! Earlier readings that come again, value for value, under new times.

use std::collections::HashMap;

use model::series::Flag;
use model::time::{DAY, HOUR, Instant};

use super::sheet::{Course, Sheet};
use super::{Check, Thresholds};

/// A stretch is looked up by its first hours.
const OPENING: i64 = 3 * HOUR;
/// By so many readings at least.
const FEWEST: usize = 6;
/// A stretch with fewer values may come again by chance.
const FEWEST_VALUES: usize = 4;
const BASE: u64 = 0x9e37_79b9_7f4a_7c15;

/// A stretch from `first` on equals the one that lies `back` readings before.
struct Repeat {
    first: usize,
    back: usize,
}

pub(super) fn judge(sheet: &mut Sheet, limits: &Thresholds) {
    let course = sheet.course();
    let opening = opening(&course);
    if course.len() < 2 * opening {
        return;
    }
    let items: Vec<(i64, i64)> = (0..course.len()).map(|n| item(&course, n)).collect();
    let hashes = Hashes::new(&items, opening);
    let mut seen: HashMap<u64, usize> = HashMap::with_capacity(course.len());
    let mut repeat: Option<Repeat> = None;
    for n in opening..course.len() {
        if let Some(Repeat { first, back }) = repeat.take() {
            if items[n] == items[n - back] {
                repeat = Some(Repeat { first, back });
            } else {
                judge_one(sheet, &course, first, n - 1, back, limits);
            }
        }
        let Some(hash) = hashes.ending(n) else {
            continue;
        };
        let before = seen.insert(hash, n);
        if repeat.is_none()
            && let Some(before) = before
            && course.at[n] - course.at[before] <= limits.repeat_days * DAY
            && items[n + 1 - opening..=n] == items[before + 1 - opening..=before]
        {
            repeat = Some(Repeat { first: n + 1 - opening, back: n - before });
        }
    }
    if let Some(Repeat { first, back }) = repeat {
        judge_one(sheet, &course, first, course.len() - 1, back, limits);
    }
}

/// A value in hundredths and how long after the one before it stands.
fn item(course: &Course, n: usize) -> (i64, i64) {
    let hundredths = (course.celsius[n] * 100.0).round() as i64;
    (hundredths, if n == 0 { 0 } else { course.since_last(n) })
}

/// How many readings open a stretch, by the usual time between two.
fn opening(course: &Course) -> usize {
    let mut apart: Vec<i64> = (1..course.len()).map(|n| course.since_last(n)).collect();
    if apart.is_empty() {
        return FEWEST;
    }
    let middle = apart.len() / 2;
    let (_, usual, _) = apart.select_nth_unstable(middle);
    FEWEST.max((OPENING / (*usual).max(1)) as usize)
}

/// Hashes of all stretches of one length that are not flat.
struct Hashes(Vec<Option<u64>>);

impl Hashes {
    fn new(items: &[(i64, i64)], length: usize) -> Hashes {
        let mixed = |item: &(i64, i64)| {
            (item.0 as u64).wrapping_mul(0xff51_afd7_ed55_8ccd)
                ^ (item.1 as u64).wrapping_mul(0xc4ce_b9fe_1a85_ec53)
        };
        let leaving = (0..length).fold(1_u64, |power, _| power.wrapping_mul(BASE));
        let (mut hash, mut changes) = (0_u64, 0_usize);
        let changed = |n: usize| usize::from(n > 0 && items[n].0 != items[n - 1].0);
        let at = |n: usize| {
            hash = hash.wrapping_mul(BASE).wrapping_add(mixed(&items[n]));
            changes += changed(n);
            if let Some(left) = n.checked_sub(length) {
                hash = hash.wrapping_sub(mixed(&items[left]).wrapping_mul(leaving));
                changes -= changed(left);
            }
            (n + 1 >= length && changes > 1).then_some(hash)
        };
        Hashes((0..items.len()).map(at).collect())
    }

    /// Hash of the stretch that ends with `n`.
    fn ending(&self, n: usize) -> Option<u64> {
        self.0[n]
    }
}

fn judge_one(
    sheet: &mut Sheet,
    course: &Course,
    first: usize,
    last: usize,
    back: usize,
    limits: &Thresholds,
) {
    let hours = (course.at[last] - course.at[first]) as f64 / HOUR as f64;
    if hours < limits.repeat_suspect_hours {
        return;
    }
    let mut values: Vec<i64> = (first..=last).map(|n| item(course, n).0).collect();
    values.sort_unstable();
    values.dedup();
    let range = (values[values.len() - 1] - values[0]) as f64 / 100.0;
    if values.len() < FEWEST_VALUES || range < limits.repeat_range_c {
        return;
    }
    let flag = if hours >= limits.repeat_fail_hours { Flag::Fail } else { Flag::Suspect };
    let (from, to) = (Instant(course.at[first - back]), Instant(course.at[last - back]));
    let detail = format!("the same {} values as from {from} to {to}", last - first + 1);
    for row in &course.rows[first..=last] {
        sheet.note(*row, Check::LongPast, flag, detail.clone());
    }
}
