//! Several readings at one time with different values.

use std::ops::Range;

use model::series::{Flag, JOINED};

use super::sheet::Sheet;
use super::{Check, Thresholds};

pub(super) fn judge(sheet: &mut Sheet, limits: &Thresholds) {
    let rows: Vec<usize> = (0..sheet.readings().count()).filter(|row| sheet.believed(*row)).collect();
    let key = |row: usize| (sheet.reading(row).at, sheet.reading(row).span);
    // An instant and a mean that end together may well differ.
    let mut groups: Vec<Range<usize>> = Vec::new();
    for n in 1..rows.len() {
        if key(rows[n]) != key(rows[n - 1]) {
            continue;
        }
        match groups.last_mut() {
            Some(group) if group.end == n => group.end = n + 1,
            _ => groups.push(n - 1..n + 1),
        }
    }
    let mut settled = None;
    for group in groups {
        settled = judge_one(sheet, &rows, group, settled, limits);
    }
}

/// Judges the readings of one time, and says which of them is the best. `last`
/// is that of the group before.
fn judge_one(
    sheet: &mut Sheet,
    rows: &[usize],
    group: Range<usize>,
    last: Option<usize>,
    limits: &Thresholds,
) -> Option<usize> {
    let values: Vec<f64> = group.clone().map(|n| sheet.reading(rows[n]).celsius).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if high - low <= limits.disagree_c {
        return None;
    }
    let expected = expected(sheet, rows, &group, last);
    let off = |celsius: f64| expected.map_or(0.0, |expected| (celsius - expected).abs());
    let nearest = values.iter().map(|celsius| off(*celsius)).fold(f64::INFINITY, f64::min);
    let mut best = None;
    for (n, celsius) in group.zip(values) {
        if expected.is_some() && off(celsius) == nearest {
            best = Some(rows[n]);
        }
        let lost = off(celsius) > nearest + limits.disagree_fail_c;
        let flag = if lost { Flag::Fail } else { Flag::Suspect };
        let detail = format!("readings of {low:.1} and {high:.1} °C at one time");
        sheet.note(rows[n], Check::Disagreeing, flag, detail);
    }
    best
}

/// What the readings before and after a moment say of it, or the one before
/// alone where several disagree after it.
fn expected(sheet: &Sheet, rows: &[usize], group: &Range<usize>, last: Option<usize>) -> Option<f64> {
    let at = sheet.reading(rows[group.start]).at;
    let before = group.start.checked_sub(1).map(|n| sheet.reading(rows[n]));
    let before = match last.map(|row| sheet.reading(row)) {
        Some(last) if before.is_some_and(|before| before.at == last.at) => last,
        _ => before?,
    };
    if at.since(before.at) > JOINED {
        return None;
    }
    let after = rows.get(group.end).map(|row| sheet.reading(*row));
    let again = rows.get(group.end + 1).map(|row| sheet.reading(*row).at);
    let after = after.filter(|after| after.at.since(at) <= JOINED && again != Some(after.at));
    let share = |end: i64| at.since(before.at) as f64 / end as f64;
    Some(after.map_or(before.celsius, |after| {
        before.celsius + (after.celsius - before.celsius) * share(after.at.since(before.at))
    }))
}
