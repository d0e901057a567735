//! Where the header stands, and what stands round it.

use super::rows::{Row, Sample};
use super::times::Times;
use crate::unit_name::{bare_unit, blanks_joined};

/// Rows above the first reading among which the names are looked for.
const MOST_ROWS_ABOVE: usize = 12;

/// Lines before, of and behind the header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Lines {
    pub(super) skip: usize,
    pub(super) header: usize,
    pub(super) after: usize,
}

/// The header of a file.
pub(super) struct Heading {
    pub(super) lines: Lines,
    /// Names of the columns; blank where there is no header.
    pub(super) names: Vec<String>,
    /// Line of the header, from 1; of the first reading where there is none.
    pub(super) line: usize,
    /// Where the first row below the names stands among the rows.
    pub(super) below: usize,
}

/// Words of headers, in several tongues.
const WORDS: [&str; 27] = [
    "date", "time", "temp", "tmp", "hum", "wind", "rain", "precip", "press", "dew", "year", "month", "day",
    "hour", "station", "record", "solar", "datum", "zeit", "feuchte", "luft", "regen", "heure", "fecha",
    "hora", "data", "utc",
];
/// How values were summed up, as rows below the names say it.
const SUMMED_UP: [&str; 8] = ["avg", "smp", "max", "min", "tot", "std", "mean", "wvc"];

impl Heading {
    /// The lines are known beforehand.
    pub(super) fn by_hand(rows: &[Row], lines: Lines) -> Heading {
        let first = rows.partition_point(|row| row.before < lines.skip);
        Heading::at(rows, lines, first)
    }

    fn at(rows: &[Row], lines: Lines, first: usize) -> Heading {
        let below = (first + lines.header).min(rows.len());
        let mut names: Vec<String> = Vec::new();
        for row in &rows[first.min(below)..below] {
            names.resize(names.len().max(row.cells.len()), String::new());
            for (name, cell) in names.iter_mut().zip(&row.cells) {
                *name = blanks_joined(&format!("{name} {cell}"));
            }
        }
        Heading { lines, names, line: rows.get(first).map_or(1, |row| row.before + 1), below }
    }

    /// Finds the names above the reading at `data`.
    pub(super) fn find(
        rows: &[Row],
        data: usize,
        sample: &Sample<'_>,
        times: &Times,
        exact: bool,
    ) -> Heading {
        let above = data.saturating_sub(MOST_ROWS_ABOVE)..data;
        let mut best: Option<(usize, usize)> = None;
        for place in above.rev() {
            let row = &rows[place];
            if !could_name(row, sample.width, times, exact) {
                continue;
            }
            let score = words(row);
            let better = match best {
                None => true,
                Some((other, most)) => score > most || (score == most && says_units(&rows[other])),
            };
            if better {
                best = Some((place, score));
            }
        }
        let Some((names, _)) = best else {
            let lines = Lines { skip: rows[data].before, header: 0, after: 0 };
            return Heading::at(rows, lines, data);
        };
        let upper =
            names.checked_sub(1).filter(|upper| !exact && completes(&rows[*upper], &rows[names], times));
        let first = upper.unwrap_or(names);
        let lines = Lines { skip: rows[first].before, header: names - first + 1, after: data - names - 1 };
        Heading::at(rows, lines, first)
    }
}

fn is_number(cell: &str) -> bool {
    cell.replace(',', ".").parse::<f64>().is_ok()
}

/// Whether a row may hold the names: something stands over the time, and most
/// of it is no number. Where blanks part the columns there must be as many
/// names as columns.
fn could_name(row: &Row, width: usize, times: &Times, exact: bool) -> bool {
    let filled = row.cells.iter().filter(|cell| !cell.is_empty()).count();
    let numbers = row.cells.iter().filter(|cell| is_number(cell)).count();
    let over_time = times.dates.iter().chain([&times.time]).all(|column| !row.cell(*column).is_empty());
    over_time && row.width() >= 2 && numbers * 2 < filled && (!exact || row.cells.len() == width)
}

fn words(row: &Row) -> usize {
    let has_word = |cell: &&String| {
        let cell = cell.to_lowercase();
        WORDS.iter().any(|word| cell.contains(word))
    };
    row.cells.iter().filter(has_word).count()
}

/// Whether a row says units, or how values were summed up.
fn says_units(row: &Row) -> bool {
    let says = |cell: &String| {
        let small = cell.to_lowercase();
        bare_unit(cell).is_some()
            || SUMMED_UP.contains(&small.as_str())
            || (!cell.is_empty() && cell.chars().all(|sign| "-=_%".contains(sign)))
    };
    row.cells.iter().any(says)
}

/// Whether the row above the names holds the first parts of them: the names
/// alone are doubled, or nothing stands above that of the time.
fn completes(upper: &Row, names: &Row, times: &Times) -> bool {
    let words_only = upper.cells.iter().all(|cell| !is_number(cell));
    let mut sorted: Vec<&String> = names.cells.iter().filter(|name| !name.is_empty()).collect();
    sorted.sort_unstable();
    let doubled = sorted.windows(2).any(|pair| pair[0] == pair[1]);
    words_only && upper.width() >= 2 && (doubled || upper.cell(times.time).is_empty())
}
