//! The table as it is written.

use serde_json::{Value, json};

use super::Advice;
use crate::input::{self, Faults, Fields};

/// Most rows of a table, and most conditions of a row.
const MOST_ROWS: usize = 40;
/// The word for the cultivar's own line.
const STAND_DOWN_LINE: &str = "stand-down-line";

/// A figure that a condition may ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Fruit wanted on a tree.
    Target,
    /// Live king flowers for each fruit wanted.
    KingsPerFruit,
    /// Share of the king flowers that live.
    KingShare,
    /// Live flowers for each fruit wanted.
    FlowersPerFruit,
    /// Whether a night at the kill line has come since the newest damage count.
    FrostSinceCount,
    /// Whether frost is forecast.
    FrostAhead,
}

impl Figure {
    const ALL: [Figure; 6] = [
        Figure::Target,
        Figure::KingsPerFruit,
        Figure::KingShare,
        Figure::FlowersPerFruit,
        Figure::FrostSinceCount,
        Figure::FrostAhead,
    ];

    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            Figure::Target => "target",
            Figure::KingsPerFruit => "live-kings-per-fruit",
            Figure::KingShare => "live-king-share",
            Figure::FlowersPerFruit => "live-flowers-per-fruit",
            Figure::FrostSinceCount => "frost-since-damage-count",
            Figure::FrostAhead => "frost-forecast",
        }
    }

    /// What it is, for people.
    pub fn spoken(self) -> &'static str {
        match self {
            Figure::Target => "fruit wanted on a tree",
            Figure::KingsPerFruit => "live king flowers for each fruit wanted",
            Figure::KingShare => "share of the king flowers alive",
            Figure::FlowersPerFruit => "live flowers for each fruit wanted",
            Figure::FrostSinceCount => "frost since the last damage count",
            Figure::FrostAhead => "frost forecast",
        }
    }

    fn is_yes_or_no(self) -> bool {
        matches!(self, Figure::FrostSinceCount | Figure::FrostAhead)
    }
}

/// Which side of its line a figure must lie on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// At it or below.
    AtMost,
    /// At it or above.
    AtLeast,
    /// Below it.
    Below,
    /// Above it.
    Above,
}

impl Side {
    const ALL: [Side; 4] = [Side::AtMost, Side::AtLeast, Side::Below, Side::Above];

    /// The field under which its line is written.
    fn word(self) -> &'static str {
        match self {
            Side::AtMost => "at_most",
            Side::AtLeast => "at_least",
            Side::Below => "below",
            Side::Above => "above",
        }
    }
}

/// A line that a figure is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Line {
    /// A number.
    At(f64),
    /// The cultivar's own stand-down line, live flowers for each fruit wanted.
    StandDown,
}

/// What a row asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Condition {
    /// A figure on one side of a line.
    Number(Figure, Side, Line),
    /// A figure that is so, or not.
    Is(Figure, bool),
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name of the row.
    pub id: String,
    /// All must hold; a row without any always does.
    pub when: Vec<Condition>,
    /// What it says to do.
    pub advice: Advice,
    /// The same in a sentence.
    pub says: String,
    /// Where its lines come from: a source with its status, or that it is
    /// practice or constructed.
    pub basis: String,
}

/// The rows in order.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// The first that matches holds.
    pub rows: Vec<Row>,
}

impl Table {
    /// Reads `{"row": [{id, when, verdict, says, basis}]}`.
    ///
    /// # Errors
    /// All that is wrong with any row.
    pub fn read(document: &Value) -> Result<Table, Faults> {
        input::read(document, Table::from_fields)
    }

    /// The same from fields.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Table> {
        fields.require("row");
        let rows = fields.tables("row", row);
        if rows.len() > MOST_ROWS {
            fields.fault("row", format!("has more than {MOST_ROWS} rows"));
        }
        if rows.last().is_some_and(|last| !last.when.is_empty()) {
            fields.fault("row", "ends with a row that asks for something; the last row must hold always");
        }
        Some(Table { rows })
    }

    /// The table as [`Table::read`] takes it.
    pub fn document(&self) -> Value {
        json!({"row": self.rows.iter().map(Row::document).collect::<Vec<_>>()})
    }
}

impl Row {
    fn document(&self) -> Value {
        let mut row = json!({"id": self.id});
        if !self.when.is_empty() {
            row["when"] = self.when.iter().map(Condition::document).collect();
        }
        row["verdict"] = json!(self.advice.word());
        row["says"] = json!(self.says);
        row["basis"] = json!(self.basis);
        row
    }
}

impl Condition {
    fn document(&self) -> Value {
        match *self {
            Condition::Is(figure, is) => json!({"figure": figure.word(), "is": is}),
            Condition::Number(figure, side, line) => {
                let mut document = json!({"figure": figure.word()});
                document[side.word()] = match line {
                    Line::At(number) => json!(number),
                    Line::StandDown => json!(STAND_DOWN_LINE),
                };
                document
            }
        }
    }
}

fn row(fields: &Fields<'_>) -> Option<Row> {
    let id = fields.required_text("id");
    let words = Advice::ALL.map(Advice::word);
    let word = if fields.require("verdict") { fields.word("verdict", &words) } else { None };
    let says = fields.required_text("says");
    let basis = fields.required_text("basis");
    let when = fields.tables("when", condition);
    if when.len() > MOST_ROWS {
        fields.fault("when", format!("has more than {MOST_ROWS} conditions"));
    }
    let advice = Advice::ALL.into_iter().find(|advice| Some(advice.word()) == word);
    Some(Row { id: id?, when, advice: advice?, says: says?, basis: basis? })
}

fn condition(fields: &Fields<'_>) -> Option<Condition> {
    let words = Figure::ALL.map(Figure::word);
    let word = if fields.require("figure") { fields.word("figure", &words) } else { None };
    let figure = Figure::ALL.into_iter().find(|figure| Some(figure.word()) == word);
    let mut given = Vec::new();
    for side in Side::ALL {
        if fields.has(side.word()) {
            given.extend(line(fields, side.word()).map(|line| (side, line)));
        }
    }
    let is = fields.flag("is");
    let figure = figure?;
    match (figure.is_yes_or_no(), given.as_slice(), is) {
        (true, [], Some(is)) => Some(Condition::Is(figure, is)),
        (false, [(side, line)], None) => Some(Condition::Number(figure, *side, *line)),
        (true, ..) => {
            fields.fault(
                "figure",
                format!("`{}` is so or not: give `is` = true or false alone", figure.word()),
            );
            None
        }
        (false, ..) => {
            let detail = format!("`{}` needs one of at_most, at_least, below, above", figure.word());
            fields.fault("figure", detail);
            None
        }
    }
}

fn line(fields: &Fields<'_>, name: &'static str) -> Option<Line> {
    match fields.value(name) {
        Some(Value::String(_)) => fields.word(name, &[STAND_DOWN_LINE]).map(|_| Line::StandDown),
        _ => fields.number(name, 0.0, 100_000.0).map(Line::At),
    }
}
