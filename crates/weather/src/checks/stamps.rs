//! Times that cannot be: ahead of the clock, or long past.

use model::series::Flag;
use model::time::{DAY, Instant};

use super::sheet::Sheet;
use super::{Check, Thresholds};

pub(super) fn judge(sheet: &mut Sheet, now: Instant, limits: &Thresholds) {
    let latest = now.plus(limits.ahead_seconds());
    let oldest = limits.oldest();
    let times: Vec<Instant> = sheet.readings().map(|reading| reading.at).collect();
    for (row, at) in times.iter().enumerate() {
        if *at > latest {
            sheet.note(row, Check::Ahead, Flag::Fail, format!("{at} lies after the clock's {now}"));
        } else if *at < oldest {
            let detail = format!("{at} lies before {}: a clock that was never set", limits.oldest_year);
            sheet.note(row, Check::LongPast, Flag::Fail, detail);
        }
    }
    let taken = &times[..times.partition_point(|at| *at <= latest)];
    let astray = astray(taken, limits.apart_days * DAY);
    for (row, at) in taken[..astray].iter().enumerate() {
        let detail = format!(
            "{at} lies more than {} days before the source's next readings: a clock that began anew",
            limits.apart_days
        );
        sheet.note(row, Check::LongPast, Flag::Fail, detail);
    }
}

/// Longest stretch that a logger writes before its clock is set right; what is
/// longer is a record of another year.
const UNSET: i64 = 30 * DAY;

/// How many of the first times stand so far before more that follow that a
/// logger without a clock must have written them.
fn astray(times: &[Instant], apart: i64) -> usize {
    let gaps = (1..times.len()).rev().filter(|n| times[*n].since(times[n - 1]) > apart);
    let short = |n: &usize| *n < times.len() - n && times[n - 1].since(times[0]) <= UNSET;
    gaps.filter(short).max().unwrap_or(0)
}
