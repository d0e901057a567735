//! One value for too long.

use model::series::{Flag, JOINED};
use model::time::HOUR;

use super::alike::most_moved;
use super::line::Line;
use super::sheet::{Course, Sheet};
use super::{Check, Thresholds};

/// A sensor in melting snow or under rime stays near 0 °C for days.
const MELTING_C: f64 = 1.0;
/// Fewer equal readings are no line.
const FEWEST: usize = 4;

pub(super) fn judge(sheet: &mut Sheet, others: &[Line], limits: &Thresholds) {
    let course = sheet.course();
    let mut first = 0;
    while first < course.len() {
        let mut end = first + 1;
        while end < course.len()
            && course.since_last(end) <= JOINED
            && (course.celsius[end] - course.celsius[first]).abs() <= limits.flat_tolerance_c
        {
            end += 1;
        }
        if end - first >= FEWEST {
            judge_one(sheet, &course, first, end - 1, others, limits);
        }
        first = end;
    }
}

/// Judges a run of equal readings. The first of them was measured.
fn judge_one(
    sheet: &mut Sheet,
    course: &Course,
    first: usize,
    last: usize,
    others: &[Line],
    limits: &Thresholds,
) {
    let hours = (course.at[last] - course.at[first]) as f64 / HOUR as f64;
    let celsius = course.celsius[first];
    if hours < limits.flat_beside_suspect_hours.min(limits.flat_suspect_hours) {
        return;
    }
    let moved = most_moved(others, course.at[first], course.at[last]);
    let contradicted = moved.is_some_and(|moved| moved >= limits.flat_moved_c);
    let (suspect, fail) = match (contradicted, celsius.abs() <= MELTING_C) {
        (true, _) => (limits.flat_beside_suspect_hours, limits.flat_beside_fail_hours),
        (false, true) => (limits.flat_suspect_hours, f64::INFINITY),
        (false, false) => (limits.flat_suspect_hours, limits.flat_fail_hours),
    };
    let flag = match hours {
        hours if hours >= fail => Flag::Fail,
        hours if hours >= suspect => Flag::Suspect,
        _ => return,
    };
    let beside = match moved.filter(|_| contradicted) {
        Some(moved) => format!(" while another source ran over {moved:.1} °C"),
        None => String::new(),
    };
    let detail = format!("{celsius:.1} °C for {hours:.1} hours{beside}");
    for row in &course.rows[first + 1..=last] {
        sheet.note(*row, Check::FlatLine, flag, detail.clone());
    }
}
