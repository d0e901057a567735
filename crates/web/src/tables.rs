//! A table of texts, which scrolls within itself where it is too wide.

use askama::Template;

/// A table with its name above it.
#[derive(Debug, Template)]
#[template(path = "table.html")]
pub(crate) struct Table {
    caption: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// From a row of headings and the rows below it, as `charts` gives them. The first
    /// cell of each row names it.
    pub(crate) fn of(caption: impl Into<String>, mut rows: Vec<Vec<String>>) -> Table {
        let columns = if rows.is_empty() { Vec::new() } else { rows.remove(0) };
        Table { caption: caption.into(), columns, rows }
    }

    /// Whether it has no rows.
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
}

/// A picture as it stands within a page, which needs no namespace.
pub(crate) fn drawn(svg: &str) -> String {
    svg.replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1)
}
