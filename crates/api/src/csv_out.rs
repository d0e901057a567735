//! CSV as it goes out (RFC 4180).

/// A text as a cell. Spreadsheets run what begins with one of these signs as a
/// formula; an apostrophe before it keeps it a text.
pub(crate) fn text_cell(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// A number as a cell, never neutralised; nothing where it is not known.
pub(crate) fn number_cell<N: ToString>(number: Option<N>) -> String {
    number.map(|number| number.to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_become_texts_and_numbers_stay() {
        for text in ["=1+2", "+1", "-1", "@sum(a1)", "\t=1", "\r=1"] {
            assert_eq!(text_cell(text), format!("'{text}"));
        }
        assert_eq!(text_cell("Mast, 2 m"), "Mast, 2 m");
        assert_eq!(number_cell(Some(-2.5)), "-2.5");
        assert_eq!(number_cell::<f64>(None), "");
    }
}
