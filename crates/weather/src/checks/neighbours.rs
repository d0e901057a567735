//! Level, lag and drift against the site's other sources, day by day (UTC).
//!
//! What is found here is suspect and never fails: of two sources that part, none
//! says which is wrong. Where there are several others, all that can be compared
//! must agree that this one parts from them.

mod days;
mod drift;
mod lag;
mod level;

use model::series::Flag;

use super::line::Line;
use super::sheet::{Course, Sheet};
use super::{Check, Thresholds};
use days::{Day, SLOT, SLOTS};

/// What comparing with one other source gave.
enum Answer {
    /// Too little in common, or too little before it.
    Unknown,
    /// Nothing out of the ordinary.
    Agrees,
    /// It parts from the other source, and how.
    Parts(String),
}

pub(super) fn judge(sheet: &mut Sheet, others: &[Line], limits: &Thresholds) {
    if others.is_empty() {
        return;
    }
    let course = sheet.course();
    let own = Line::of_course(&course);
    let numbers = days::numbers(&course);
    let compared: Vec<Vec<Day>> = others.iter().map(|other| days::compare(&numbers, &own, other)).collect();
    let lags: Vec<Vec<Option<f64>>> = compared.iter().map(|days| lag::estimates(days)).collect();
    for (n, number) in numbers.iter().enumerate() {
        for slot in 0..SLOTS {
            let answers = compared.iter().map(|days| level::of_slot(days, n, slot, limits));
            if let Some(detail) = parted(answers) {
                // All the days that part are suspect.
                for back in 0..level::RUN {
                    let from = days::begin(number - back) + slot as i64 * SLOT;
                    note(sheet, &course, from, from + SLOT, &detail);
                }
            }
        }
        let lag = compared.iter().zip(&lags).map(|(days, lags)| lag::of_day(days, lags, n, limits));
        let drift = compared.iter().map(|days| drift::of_day(days, n, limits));
        for detail in [parted(lag), parted(drift)].into_iter().flatten() {
            note(sheet, &course, days::begin(*number), days::begin(number + 1), &detail);
        }
    }
}

/// How this source parts from all others that can tell.
fn parted(answers: impl Iterator<Item = Answer>) -> Option<String> {
    let mut first = None;
    for answer in answers {
        match answer {
            Answer::Unknown => {}
            Answer::Agrees => return None,
            Answer::Parts(detail) => first = first.or(Some(detail)),
        }
    }
    first
}

fn note(sheet: &mut Sheet, course: &Course, from: i64, to: i64, detail: &str) {
    let within = course.at.partition_point(|at| *at < from)..course.at.partition_point(|at| *at < to);
    for row in &course.rows[within] {
        sheet.note(*row, Check::Neighbours, Flag::Suspect, detail);
    }
}

/// The middle one of some values; none of none.
fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}
