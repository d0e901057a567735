//! The lines of a head, taken apart by one way or another.

use crate::mapping::Delimiter;
use crate::station_file::{MAX_COLUMNS, MAX_LINE_BYTES, split_blanks, split_places};

/// Lines of the head that are looked at: a day of readings each 10 seconds.
pub(super) const MOST_LINES: usize = 10_000;

/// A line that is not blank.
pub(super) struct Row {
    /// Lines of the file before it.
    pub(super) before: usize,
    /// Its fields, blanks around them trimmed.
    pub(super) cells: Vec<String>,
}

impl Row {
    /// A cell, blank where the row is too short.
    pub(super) fn cell(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    /// Cells up to the last that is not blank.
    pub(super) fn width(&self) -> usize {
        self.cells.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1)
    }
}

/// Takes each line apart.
pub(super) fn rows(text: &str, delimiter: &Delimiter) -> Vec<Row> {
    // Where a sign parts the columns, blanks make a row with one cell.
    let is_blank = |line: &str| match delimiter {
        Delimiter::Sign(_) => line.is_empty(),
        Delimiter::Blanks | Delimiter::Places(_) => line.trim().is_empty(),
    };
    let lines = text.lines().enumerate().take(MOST_LINES);
    let whole = lines.filter(|(_, line)| !is_blank(line) && line.len() <= MAX_LINE_BYTES);
    whole.map(|(before, line)| Row { before, cells: cells(line, delimiter) }).collect()
}

fn cells(line: &str, delimiter: &Delimiter) -> Vec<String> {
    let mut cells = Vec::new();
    let mut put = |field: &[u8]| {
        cells.push(String::from_utf8_lossy(field.trim_ascii()).into_owned());
        cells.len() < MAX_COLUMNS
    };
    match delimiter {
        Delimiter::Sign(sign) => by_sign(line.as_bytes(), *sign, &mut put),
        Delimiter::Blanks => {
            split_blanks(line.as_bytes(), &mut put);
        }
        Delimiter::Places(places) => {
            split_places(line.as_bytes(), places, &mut put);
        }
    }
    cells
}

/// Fields between signs; in double quotes a sign does not count, and two quotes
/// are one.
fn by_sign(line: &[u8], sign: u8, put: &mut impl FnMut(&[u8]) -> bool) {
    let mut field = Vec::new();
    let mut quoted = false;
    let mut bytes = line.iter().copied().peekable();
    while let Some(byte) = bytes.next() {
        match byte {
            b'"' if quoted && bytes.peek() == Some(&b'"') => {
                field.push(b'"');
                bytes.next();
            }
            b'"' if quoted || field.is_empty() => quoted = !quoted,
            byte if byte == sign && !quoted => {
                if !put(&field) {
                    return;
                }
                field.clear();
            }
            byte => field.push(byte),
        }
    }
    put(&field);
}

/// The rows that are readings as far as can be told without reading them: the
/// second half, by the number of fields that most of them have.
pub(super) struct Sample<'a> {
    pub(super) rows: Vec<&'a Row>,
    pub(super) width: usize,
    /// Share of the second half that has this width.
    pub(super) share: f64,
}

/// Rows that are looked at to find the columns.
const MOST_SAMPLED: usize = 400;

impl Sample<'_> {
    /// Rows spread over all readings, once it is known where these begin.
    pub(super) fn spread<'a>(&self, readings: &'a [Row]) -> Sample<'a> {
        let of_width = || readings.iter().filter(|row| row.cells.len() == self.width);
        let step = of_width().count().div_ceil(MOST_SAMPLED).max(1);
        Sample { rows: of_width().step_by(step).collect(), ..*self }
    }
}

pub(super) fn sample(rows: &[Row]) -> Option<Sample<'_>> {
    let half = &rows[rows.len() / 2..];
    let half = &half[half.len().saturating_sub(MOST_SAMPLED)..];
    let mut widths: Vec<usize> = half.iter().map(|row| row.cells.len()).collect();
    widths.sort_unstable();
    let runs = widths.chunk_by(|one, other| one == other);
    let most = runs.max_by_key(|run| run.len())?;
    let width = most[0];
    let share = most.len() as f64 / half.len() as f64;
    Some(Sample { rows: half.iter().filter(|row| row.cells.len() == width).collect(), width, share })
}

/// Columns that stand below one another, where blanks alone do not tell them
/// apart because cells are empty: they are parted where a character is blank in
/// all readings.
pub(super) fn places(text: &str) -> Option<Delimiter> {
    let lines: Vec<&str> = text.lines().take(MOST_LINES).filter(|line| !line.trim().is_empty()).collect();
    let half = &lines[lines.len() / 2..];
    let half = &half[half.len().saturating_sub(MOST_SAMPLED)..];
    let mut inked: Vec<bool> = Vec::new();
    for line in half.iter().filter(|line| line.len() <= MAX_LINE_BYTES) {
        for (at, sign) in line.chars().enumerate() {
            if at == inked.len() {
                inked.push(false);
            }
            inked[at] |= !sign.is_whitespace();
        }
    }
    // First and last character of each column as far as the readings fill it.
    let mut filled: Vec<(usize, usize)> = Vec::new();
    for at in (0..inked.len()).filter(|at| inked[*at]) {
        match filled.last_mut() {
            Some((_, last)) if *last == at => *last = at + 1,
            _ => filled.push((at + 1, at + 1)),
        }
    }
    if !(2..=MAX_COLUMNS).contains(&filled.len()) {
        return None;
    }
    // Names may be wider than the readings, on one side or on the other.
    let before = |n: usize| if n == 0 { 0 } else { filled[n - 1].1 };
    let behind = |n: usize| filled.get(n + 1).map_or(inked.len(), |next| next.0 - 1);
    let right: Vec<_> = filled.iter().enumerate().map(|(n, column)| (before(n) + 1, column.1)).collect();
    let left: Vec<_> = filled.iter().enumerate().map(|(n, column)| (column.0, behind(n))).collect();
    let head = &lines[..lines.len().min(MOST_LINES_ABOVE)];
    let cuts = |places: &[(usize, usize)]| head.iter().map(|line| words_cut(line, places)).sum::<usize>();
    Some(Delimiter::Places(if cuts(&left) < cuts(&right) { left } else { right }))
}

/// Lines whose words are looked at when columns are cut.
const MOST_LINES_ABOVE: usize = 20;

/// How many words of a line lie on both sides of the end or the begin of a
/// column.
fn words_cut(line: &str, places: &[(usize, usize)]) -> usize {
    let signs: Vec<bool> = line.chars().map(|sign| !sign.is_whitespace()).collect();
    let inked = |number: usize| number > 0 && signs.get(number - 1).copied().unwrap_or(false);
    let cut = |after: usize| inked(after) && inked(after + 1);
    places.iter().map(|(first, last)| usize::from(cut(first - 1)) + usize::from(cut(*last))).sum()
}
