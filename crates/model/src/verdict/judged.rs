//! The table held against the figures of one block.

use serde::{Deserialize, Serialize};

use super::{Advice, Condition, Figure, Line, Row, Side, Table};
use crate::stats::wilson;

/// More clusters than this nobody is asked to cut.
pub const MOST_MORE_CLUSTERS: usize = 200;

/// Two numbers that differ by less than this share of them are the same: a ratio
/// that is exactly on its line in arithmetic must not fall off it in floats.
const SAME: f64 = 1e-9;

/// A share with how many independent flowers or clusters it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Share alive.
    pub share: f64,
    /// Independent ones it was seen in.
    pub n: f64,
    /// How many more of those one more cluster brings.
    pub per_cluster: f64,
}

impl Measured {
    /// Wilson's interval, were so many more clusters cut with the same outcome.
    fn interval(&self, more: usize) -> (f64, f64) {
        wilson(self.share, self.n + self.per_cluster * more as f64)
    }
}

/// What is known of a block.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Figures {
    /// Fruit wanted on a tree.
    pub target: f64,
    /// Clusters (or flower buds) on a tree.
    pub clusters: Option<f64>,
    /// Flowers in a cluster.
    pub flowers_per_cluster: f64,
    /// King flowers alive.
    pub kings: Option<Measured>,
    /// Lateral flowers alive.
    pub laterals: Option<Measured>,
    /// Whether a night at the kill line has come since the newest damage count.
    pub frost_since_count: bool,
    /// That night, in words.
    pub frost_night: Option<String>,
    /// Whether frost is forecast; none without a forecast that reaches far enough.
    pub frost_ahead: Option<bool>,
    /// Until when the forecast is asked, in words.
    pub frost_asked_until: Option<String>,
    /// The cultivar's stand-down line, live flowers for each fruit wanted.
    pub stand_down_line: f64,
}

/// A row that matches.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Matched {
    /// Name of the row.
    pub row: String,
    /// What it says to do.
    pub verdict: Advice,
    /// The same in a sentence.
    pub says: String,
    /// Where its lines come from.
    pub basis: String,
}

/// How a figure stands to a line of the table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LineStand {
    /// The figure's word.
    pub figure: String,
    /// Its value.
    pub value: f64,
    /// Lower edge of its 95 % interval.
    pub low: f64,
    /// Upper edge.
    pub high: f64,
    /// The line.
    pub line: f64,
    /// Whether the interval spans the line.
    pub spanned: bool,
}

impl Verdict {
    /// What it says, with whose word it is.
    pub fn told(&self) -> String {
        format!("By the table: {}. {}", self.verdict.spoken(), self.says)
    }
}

/// What the table says of a block. The person decides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// What to do.
    pub verdict: Advice,
    /// The row that says so; `missing` where a count is needed first.
    pub row: String,
    /// The same in a sentence.
    pub says: String,
    /// Where the row's lines come from.
    pub basis: String,
    /// Every row that matches, in the table's order.
    pub matching: Vec<Matched>,
    /// Whether an interval spans a line that the outcome hangs on.
    pub close: bool,
    /// How many more clusters to cut until it would not; none where it is not
    /// close, or where 200 would not do.
    pub more_clusters: Option<usize>,
    /// What is not known: `bud-count`, `damage-count`, `laterals`, `forecast`.
    pub missing: Vec<String>,
    /// What would change it, in sentences.
    pub would_change: Vec<String>,
    /// How each figure stands to each line of the table.
    pub lines: Vec<LineStand>,
}

/// A figure with the edges of its interval.
#[derive(Clone, Copy)]
struct Range {
    point: f64,
    low: f64,
    high: f64,
}

impl Range {
    fn exact(point: f64) -> Range {
        Range { point, low: point, high: point }
    }
}

/// Which value of an interval is meant.
#[derive(Clone, Copy)]
enum Edge {
    Point,
    Low,
    High,
}

impl Figures {
    fn range(&self, figure: Figure, more: usize) -> Option<Range> {
        let kings = || {
            let kings = self.kings?;
            let (low, high) = kings.interval(more);
            Some(Range { point: kings.share, low, high })
        };
        let scaled = |range: Range, by: f64| Range {
            point: range.point * by,
            low: range.low * by,
            high: range.high * by,
        };
        match figure {
            Figure::Target => Some(Range::exact(self.target)),
            Figure::KingShare => kings(),
            // No fruit wanted: nothing is for each of none.
            Figure::KingsPerFruit | Figure::FlowersPerFruit if self.target <= 0.0 => None,
            Figure::KingsPerFruit => Some(scaled(kings()?, self.clusters? / self.target)),
            Figure::FlowersPerFruit => {
                let (kings, laterals) = (kings()?, self.laterals?);
                let (low, high) = laterals.interval(more);
                let others = self.flowers_per_cluster - 1.0;
                let each = Range {
                    point: kings.point + others * laterals.share,
                    low: kings.low + others * low,
                    high: kings.high + others * high,
                };
                Some(scaled(each, self.clusters? / self.target))
            }
            Figure::FrostSinceCount | Figure::FrostAhead => None,
        }
    }

    fn line(&self, line: Line) -> f64 {
        match line {
            Line::At(number) => number,
            Line::StandDown => self.stand_down_line,
        }
    }

    /// Whether a condition holds; none where a count is missing.
    fn holds(&self, condition: &Condition, edge: Edge, more: usize) -> Option<bool> {
        match *condition {
            Condition::Is(Figure::FrostSinceCount, is) => Some(self.frost_since_count == is),
            // Without a forecast frost is not forecast; that it is not ruled out
            // either is said beside.
            Condition::Is(_, is) => Some(self.frost_ahead == Some(is)),
            Condition::Number(figure, side, line) => {
                let range = self.range(figure, more)?;
                let value = match edge {
                    Edge::Point => range.point,
                    Edge::Low => range.low,
                    Edge::High => range.high,
                };
                let line = self.line(line);
                let same = (value - line).abs() <= SAME * line.abs().max(1.0);
                Some(match side {
                    Side::AtMost => same || value < line,
                    Side::AtLeast => same || value > line,
                    Side::Below => !same && value < line,
                    Side::Above => !same && value > line,
                })
            }
        }
    }

    /// Whether a row matches; none where that hangs on a missing count.
    fn matches(&self, row: &Row, edge: Edge, more: usize) -> Option<bool> {
        let mut known = true;
        for condition in &row.when {
            match self.holds(condition, edge, more) {
                Some(false) => return Some(false),
                Some(true) => {}
                None => known = false,
            }
        }
        known.then_some(true)
    }

    /// The first row that matches; none where a missing count stands before it.
    fn first<'a>(&self, table: &'a Table, edge: Edge, more: usize) -> Option<&'a Row> {
        for row in &table.rows {
            match self.matches(row, edge, more) {
                Some(true) => return Some(row),
                Some(false) => {}
                None => return None,
            }
        }
        None
    }

    /// Whether the outcome is another at an edge of the intervals.
    fn close(&self, table: &Table, more: usize) -> bool {
        let advice = |edge| self.first(table, edge, more).map(|row| &row.id);
        let point = advice(Edge::Point);
        point.is_some() && (advice(Edge::Low) != point || advice(Edge::High) != point)
    }

    fn missing(&self) -> Vec<String> {
        let mut missing = Vec::new();
        if self.target <= 0.0 {
            return missing;
        }
        if self.clusters.is_none() {
            missing.push("bud-count".to_owned());
        }
        if self.kings.is_none() {
            missing.push("damage-count".to_owned());
        } else if self.laterals.is_none() {
            missing.push("laterals".to_owned());
        }
        if self.frost_ahead.is_none() {
            missing.push("forecast".to_owned());
        }
        missing
    }

    fn lines(&self, table: &Table) -> Vec<LineStand> {
        let mut lines: Vec<LineStand> = Vec::new();
        if self.target <= 0.0 {
            return lines;
        }
        for condition in table.rows.iter().flat_map(|row| &row.when) {
            let Condition::Number(figure, _, line) = condition else { continue };
            let (line, word) = (self.line(*line), figure.word());
            let known = lines.iter().any(|stand| stand.figure == word && stand.line == line);
            let Some(range) = self.range(*figure, 0).filter(|_| !known && *figure != Figure::Target) else {
                continue;
            };
            let Range { point, low, high } = range;
            let spanned = low < line && line < high;
            lines.push(LineStand { figure: word.to_owned(), value: point, low, high, line, spanned });
        }
        lines
    }
}

impl Table {
    /// What the table says of a block.
    pub fn judge(&self, figures: &Figures) -> Verdict {
        let matching: Vec<&Row> =
            self.rows.iter().filter(|row| figures.matches(row, Edge::Point, 0) == Some(true)).collect();
        let holds = figures.first(self, Edge::Point, 0);
        let close = figures.target > 0.0 && figures.close(self, 0);
        let enough = |more: &usize| !figures.close(self, *more);
        let more_clusters = close.then(|| (1..=MOST_MORE_CLUSTERS).find(enough)).flatten();
        let missing = figures.missing();
        let (verdict, row, says, basis) = match holds {
            Some(row) => (row.advice, row.id.clone(), row.says.clone(), row.basis.clone()),
            None => {
                let says = "A count is missing that the table needs; until it is there this is your call.";
                (Advice::YourCall, "missing".to_owned(), says.to_owned(), "constructed".to_owned())
            }
        };
        let mut judged = Verdict {
            verdict,
            row,
            says,
            basis,
            matching: matching.into_iter().map(matched).collect(),
            close,
            more_clusters,
            missing,
            would_change: Vec::new(),
            lines: figures.lines(self),
        };
        judged.would_change = judged.changes(figures, self);
        judged
    }
}

fn matched(row: &Row) -> Matched {
    Matched { row: row.id.clone(), verdict: row.advice, says: row.says.clone(), basis: row.basis.clone() }
}

impl Verdict {
    /// What would change it, the nearest first.
    fn changes(&self, figures: &Figures, table: &Table) -> Vec<String> {
        let mut changes = Vec::new();
        match (self.close, self.more_clusters) {
            (true, Some(1)) => {
                changes.push("One more cluster cut would tell, if it looks like the others.".to_owned())
            }
            (true, Some(more)) => {
                changes.push(format!("{more} more clusters cut would tell, if they look like those before."));
            }
            (true, None) => changes.push(format!(
                "The figures lie so near a line that {MOST_MORE_CLUSTERS} more clusters would not tell."
            )),
            _ => {}
        }
        if self.verdict == Advice::CountFirst {
            let night = figures.frost_night.as_deref().unwrap_or("the frost");
            changes.push(format!("A damage count after {night}."));
        }
        if self.verdict == Advice::Wait
            && let Some(until) = &figures.frost_asked_until
        {
            changes.push(format!("No frost by {until}."));
        }
        for missing in &self.missing {
            changes.push(match missing.as_str() {
                "bud-count" => "A count of clusters (flower buds) on some trees.".to_owned(),
                "damage-count" => self.if_all_lived(figures, table),
                "laterals" => "Lateral flowers in the damage count: it has kings alone.".to_owned(),
                _ => "A forecast that reaches two days past the spray: without one frost is not ruled out."
                    .to_owned(),
            });
        }
        for stand in &self.lines {
            changes.push(stand.told(figures.target));
        }
        changes
    }

    /// What the table would say had the damage count found all alive.
    fn if_all_lived(&self, figures: &Figures, table: &Table) -> String {
        let all = Some(Measured { share: 1.0, n: f64::INFINITY, per_cluster: 0.0 });
        let sound = Figures { kings: all, laterals: all, ..figures.clone() };
        match sound.first(table, Edge::Point, 0).filter(|_| figures.clusters.is_some()) {
            Some(row) => {
                format!(
                    "A damage count: were every flower alive, the table would say {}.",
                    row.advice.spoken()
                )
            }
            None => "A damage count of king and lateral flowers.".to_owned(),
        }
    }
}

impl LineStand {
    fn told(&self, target: f64) -> String {
        let LineStand { value, line, .. } = self;
        match self.figure.as_str() {
            "live-king-share" => {
                format!("{:.0} % of the kings live; the line is {:.0} %.", value * 100.0, line * 100.0)
            }
            "live-kings-per-fruit" => format!(
                "{:.0} live kings a tree, {value:.2} for each fruit wanted; the line is {line:.2}, that is {:.0} kings.",
                value * target,
                line * target
            ),
            _ => format!(
                "{:.0} live flowers a tree, {value:.1} for each fruit wanted; the line is {line:.1}, that is {:.0} flowers.",
                value * target,
                line * target
            ),
        }
    }
}
