//! The wood that flower buds sit on.

use serde::{Deserialize, Serialize};

use crate::input::Fields;

/// Wood of one kind; flowers on one-year wood open later than those on spurs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wood {
    /// Spurs: short wood of two years and more.
    Spur,
    /// Last year's shoots.
    OneYear,
}

impl Wood {
    /// The words that a document may use.
    pub const WORDS: [&str; 2] = ["spur", "one-year"];

    /// The word for it in documents.
    pub fn word(self) -> &'static str {
        match self {
            Wood::Spur => "spur",
            Wood::OneYear => "one-year",
        }
    }

    /// The words for it in sentences.
    pub fn spoken(self) -> &'static str {
        match self {
            Wood::Spur => "spurs",
            Wood::OneYear => "one-year wood",
        }
    }

    /// Reads the field `wood`; none where it is left out, which means all wood of
    /// the tree.
    pub fn from_fields(fields: &Fields<'_>) -> Option<Wood> {
        match fields.word("wood", &Wood::WORDS)? {
            "spur" => Some(Wood::Spur),
            _ => Some(Wood::OneYear),
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::input;

    #[test]
    fn wood_is_read_and_written_by_its_word() {
        let read =
            |wood: Value| input::read(&json!({ "wood": wood }), |fields| Some(Wood::from_fields(fields)));
        for wood in [Wood::Spur, Wood::OneYear] {
            assert_eq!(read(json!(wood.word())).unwrap(), Some(wood));
            assert_eq!(serde_json::to_value(wood).unwrap(), json!(wood.word()));
        }
        assert_eq!(read(Value::Null).unwrap(), None);
        let faults = read(json!("old")).unwrap_err();
        assert_eq!(faults.0[0].pointer, "/wood");
        assert!(faults.0[0].detail.contains("spur, one-year"), "{faults}");
    }
}
