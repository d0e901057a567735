//! The readings under check with what was found so far.

use model::series::{Flag, JOINED, Reading};

use super::{Check, Checked, Fault};

/// One source's readings in order of time.
pub(super) struct Sheet {
    rows: Vec<Row>,
}

struct Row {
    reading: Reading,
    /// `Pass`, `Suspect` or `Fail`.
    found: Flag,
    faults: Vec<Fault>,
}

/// The readings that are still believed: one for each moment, by the middle of
/// what each covers.
pub(super) struct Course {
    /// Place on the sheet.
    pub rows: Vec<usize>,
    /// Seconds since 1970.
    pub at: Vec<i64>,
    /// °C.
    pub celsius: Vec<f64>,
}

impl Sheet {
    pub fn new(readings: &[Reading]) -> Sheet {
        let row = |reading: &Reading| Row { reading: *reading, found: Flag::Pass, faults: Vec::new() };
        let mut rows: Vec<Row> = readings.iter().map(row).collect();
        // The order in which the model takes readings of one moment.
        let order = |a: &Row, b: &Row| {
            let (a, b) = (&a.reading, &b.reading);
            (a.at, a.span, a.flag as u8)
                .cmp(&(b.at, b.span, b.flag as u8))
                .then(a.celsius.total_cmp(&b.celsius))
        };
        if !rows.is_sorted_by(|a, b| order(a, b).is_le()) {
            rows.sort_by(order);
        }
        Sheet { rows }
    }

    /// The readings as they came, by their place on the sheet.
    pub fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.rows.iter().map(|row| &row.reading)
    }

    /// Whether a row is still believed.
    pub fn believed(&self, row: usize) -> bool {
        let row = &self.rows[row];
        row.found != Flag::Fail && row.reading.flag.usable() && row.reading.celsius.is_finite()
    }

    /// The reading of a row.
    pub fn reading(&self, row: usize) -> &Reading {
        &self.rows[row].reading
    }

    /// Notes a fault. What a check finds twice is told once, with the graver
    /// flag.
    pub fn note(&mut self, row: usize, check: Check, flag: Flag, detail: impl Into<String>) {
        let row = &mut self.rows[row];
        if flag as u8 > row.found as u8 {
            row.found = flag;
        }
        if row.faults.iter().all(|fault| fault.check != check) {
            row.faults.push(Fault { check, detail: detail.into() });
        }
    }

    /// The readings that are still believed.
    pub fn course(&self) -> Course {
        let mut rows: Vec<usize> = (0..self.rows.len()).filter(|row| self.believed(*row)).collect();
        rows.dedup_by_key(|row| self.rows[*row].reading.at);
        let middle = |row: &usize| {
            let reading = &self.rows[*row].reading;
            reading.at.0 - reading.span / 2
        };
        if !rows.is_sorted_by_key(middle) {
            rows.sort_by_key(middle);
        }
        let at = rows.iter().map(middle).collect();
        let celsius = rows.iter().map(|row| self.rows[*row].reading.celsius).collect();
        Course { rows, at, celsius }
    }

    /// Each reading with its flag.
    pub fn finish(self) -> Vec<Checked> {
        let course = self.course();
        let mut in_company = vec![false; self.rows.len()];
        for n in 0..course.rows.len() {
            in_company[course.rows[n]] = course.near(n, n.wrapping_sub(1)) && course.near(n, n + 1);
        }
        // A second reading of one moment stands where the first one does.
        for n in 1..self.rows.len() {
            in_company[n] |= in_company[n - 1] && self.rows[n].reading.at == self.rows[n - 1].reading.at;
        }
        let checked = |(row, in_company): (Row, bool)| {
            let flag = joined(row.reading.flag, row.found, in_company);
            Checked { reading: Reading { flag, ..row.reading }, faults: row.faults }
        };
        self.rows.into_iter().zip(in_company).map(checked).collect()
    }
}

impl Course {
    /// How many readings.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether `other` is a reading within three hours of `n`.
    fn near(&self, n: usize, other: usize) -> bool {
        self.at.get(other).is_some_and(|at| (at - self.at[n]).abs() <= JOINED)
    }

    /// Seconds from the reading before `n`.
    pub fn since_last(&self, n: usize) -> i64 {
        self.at[n] - self.at[n - 1]
    }

    /// °C from the reading before `n`.
    pub fn change(&self, n: usize) -> f64 {
        self.celsius[n] - self.celsius[n - 1]
    }
}

/// The flag of a reading that came with one and was found to be another.
fn joined(given: Flag, found: Flag, in_company: bool) -> Flag {
    match (given, found) {
        (Flag::Missing, _) => Flag::Missing,
        (Flag::Fail, _) | (_, Flag::Fail) => Flag::Fail,
        (Flag::Suspect, _) | (_, Flag::Suspect) => Flag::Suspect,
        (Flag::NotEvaluated, _) if !in_company => Flag::NotEvaluated,
        _ => Flag::Pass,
    }
}
