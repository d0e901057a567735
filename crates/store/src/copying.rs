//! All rows of one database into another, whichever of the two each of them
//! is: what they have in common, apart from any SQL.

use sha2::{Digest, Sha256};

/// What a table holds, told so that two databases can be held against each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableSum {
    /// Name of the table.
    pub table: String,
    /// How many rows.
    pub rows: u64,
    /// Sum of the rows' SHA-256, 64 hexadecimal digits; their order does not matter.
    pub sum: String,
}

/// A table with its columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Table {
    pub(crate) name: String,
    pub(crate) columns: Vec<(String, Kind)>,
}

/// What a column holds; the steps of the schema use no other kinds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Whole,
    Number,
    Text,
}

impl Kind {
    /// The kind of a declared type.
    pub(crate) fn of(declared: &str) -> Option<Kind> {
        match declared.to_ascii_lowercase().as_str() {
            "bigint" => Some(Kind::Whole),
            "double precision" => Some(Kind::Number),
            "text" => Some(Kind::Text),
            _ => None,
        }
    }
}

/// A value of a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    Whole(Option<i64>),
    Number(Option<f64>),
    Text(Option<String>),
}

impl Cell {
    /// Its bytes for the sum: none is another than zero or the empty text.
    fn put(&self, into: &mut Vec<u8>) {
        match self {
            Cell::Whole(None) | Cell::Number(None) | Cell::Text(None) => into.push(0),
            Cell::Whole(Some(value)) => {
                into.push(1);
                into.extend(value.to_le_bytes());
            }
            Cell::Number(Some(value)) => {
                into.push(2);
                // SQLite keeps no negative zero.
                into.extend((value + 0.0).to_bits().to_le_bytes());
            }
            Cell::Text(Some(text)) => {
                into.push(3);
                into.extend((text.len() as u64).to_le_bytes());
                into.extend(text.as_bytes());
            }
        }
    }
}

/// What goes from the database that is read to the one that is written.
pub(crate) enum Part {
    /// Some rows of a table.
    Rows { table: Table, rows: Vec<Vec<Cell>> },
    /// All was read; what there was. Without it nothing is kept.
    End(Vec<TableSum>),
}

/// Rows and their sum as they are gone through.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    rows: u64,
    sum: [u8; 32],
}

impl Tally {
    pub(crate) fn add(&mut self, row: &[Cell]) {
        let mut bytes = Vec::new();
        for cell in row {
            cell.put(&mut bytes);
        }
        let mut carry = 0;
        for (sum, part) in self.sum.iter_mut().zip(Sha256::digest(&bytes)) {
            let added = u16::from(*sum) + u16::from(part) + carry;
            *sum = (added & 0xff) as u8;
            carry = added >> 8;
        }
        self.rows += 1;
    }

    pub(crate) fn of(self, table: &Table) -> TableSum {
        let sum = self.sum.iter().rev().map(|byte| format!("{byte:02x}")).collect();
        TableSum { table: table.name.clone(), rows: self.rows, sum }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(rows: &[Vec<Cell>]) -> TableSum {
        let mut tally = Tally::default();
        rows.iter().for_each(|row| tally.add(row));
        tally.of(&Table { name: "reading".into(), columns: Vec::new() })
    }

    #[test]
    fn the_order_of_rows_does_not_matter_and_every_cell_does() {
        let row = |at, celsius, text: Option<&str>| {
            vec![Cell::Whole(at), Cell::Number(celsius), Cell::Text(text.map(str::to_owned))]
        };
        let (one, two) = (row(Some(1), Some(0.1), Some("a")), row(None, None, None));
        let both = sum(&[one.clone(), two.clone()]);
        assert_eq!(both, sum(&[two.clone(), one.clone()]));
        assert_eq!((both.rows, both.sum.len()), (2, 64));
        for other in [
            row(Some(2), Some(0.1), Some("a")),
            row(Some(1), Some(0.1 + f64::EPSILON), Some("a")),
            row(Some(1), Some(0.1), Some("")),
            row(Some(1), Some(0.1), None),
        ] {
            assert_ne!(both, sum(&[other, two.clone()]));
        }
    }

    #[test]
    fn a_row_twice_is_not_a_row_gone() {
        let row = vec![Cell::Whole(Some(7))];
        let twice = sum(&[row.clone(), row]);
        assert_ne!(twice.sum, sum(&[]).sum, "added, not set against each other");
    }

    #[test]
    fn the_sum_of_one_row_is_its_digest() {
        let digest = Sha256::digest([1, 1, 0, 0, 0, 0, 0, 0, 0]);
        let hex: String = digest.iter().rev().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(sum(&[vec![Cell::Whole(Some(1))]]).sum, hex);
    }
}
