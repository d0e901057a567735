//! Jumps from one reading to the next, and ways out and back.

use model::series::{CADENCE, Flag};
use model::time::{HOUR, MINUTE};

use super::alike::went_along;
use super::line::Line;
use super::sheet::{Course, Sheet};
use super::{Check, Thresholds};

/// A jump that is out of the ordinary and that no other source shared.
struct Jump {
    /// The reading after it.
    to: usize,
    change: f64,
    /// Whether another source of the site can tell that it did not happen there.
    contradicted: bool,
    /// Whether it is far enough to be told by itself.
    told: bool,
}

pub(super) fn judge(sheet: &mut Sheet, others: &[Line], limits: &Thresholds) {
    let course = sheet.course();
    let jumps: Vec<Jump> = (1..course.len()).filter_map(|n| jump(&course, n, others, limits)).collect();
    let longest = (limits.excursion_hours * HOUR as f64) as i64;
    let mut n = 0;
    while let Some(out) = jumps.get(n) {
        let latest = course.at[out.to - 1] + longest;
        let mut ahead = jumps[n + 1..].iter().take_while(|back| course.at[back.to] <= latest);
        match ahead.position(|back| comes_back(out, back)) {
            Some(further) => {
                excursion(sheet, &course, out, &jumps[n + 1 + further], limits);
                n += further + 2;
            }
            None => {
                step(sheet, &course, out);
                n += 1;
            }
        }
    }
}

fn jump(course: &Course, to: usize, others: &[Line], limits: &Thresholds) -> Option<Jump> {
    let change = course.change(to);
    let limit = limits.step_c(course.since_last(to))?;
    if change.abs() <= limit {
        return None;
    }
    let along = went_along(others, course.at[to - 1], course.at[to], change);
    let told = along == Some(false) || change.abs() > limit * limits.step_alone;
    (along != Some(true)).then_some(Jump { to, change, contradicted: along == Some(false), told })
}

/// Whether `back` ends what `out` began.
fn comes_back(out: &Jump, back: &Jump) -> bool {
    let [out, back] = [out.change, back.change];
    out * back < 0.0 && out.abs().min(back.abs()) >= 0.5 * out.abs().max(back.abs())
}

fn excursion(sheet: &mut Sheet, course: &Course, out: &Jump, back: &Jump, limits: &Thresholds) {
    let lesser = out.change.abs().min(back.change.abs());
    let quick = course.since_last(out.to) <= CADENCE && course.since_last(back.to) <= CADENCE;
    let flag = |far: f64| if quick && lesser > far { Flag::Fail } else { Flag::Suspect };
    let [before, first, last, after] = [out.to - 1, out.to, back.to - 1, back.to].map(|n| course.celsius[n]);
    if back.to == out.to + 1 {
        if lesser > limits.spike_suspect_c {
            let detail = format!("{first:.1} °C stands between {before:.1} and {after:.1} °C");
            sheet.note(course.rows[out.to], Check::Spike, flag(limits.spike_fail_c), detail);
        }
    } else if out.told && back.told {
        let contradicted = out.contradicted && back.contradicted;
        let flag = flag(if contradicted { limits.step_fail_beside_c } else { limits.step_fail_c });
        let detail = format!(
            "from {before:.1} to {first:.1} °C in one step, and {} readings later from {last:.1} to {after:.1} °C",
            back.to - out.to
        );
        for row in &course.rows[out.to..back.to] {
            sheet.note(*row, Check::Step, flag, detail.clone());
        }
    } else {
        step(sheet, course, out);
        step(sheet, course, back);
    }
}

/// A jump from which nothing comes back.
fn step(sheet: &mut Sheet, course: &Course, jump: &Jump) {
    if !jump.told {
        return;
    }
    let minutes = course.since_last(jump.to) / MINUTE;
    let (from, to) = (course.celsius[jump.to - 1], course.celsius[jump.to]);
    let beside = if jump.contradicted { "; no other source went along" } else { "" };
    let detail = format!("from {from:.1} to {to:.1} °C within {minutes} minutes{beside}");
    sheet.note(course.rows[jump.to], Check::Step, Flag::Suspect, detail);
}
