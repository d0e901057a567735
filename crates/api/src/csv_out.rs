//! CSV as it goes out (RFC 4180).

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::IntoResponse;

use crate::answer::Answer;
use crate::problem::Problem;

/// A table as a file of that name, with the address of the next page, if any.
pub(crate) fn answer(
    name: &str,
    columns: &[&str],
    rows: impl Iterator<Item = Vec<String>>,
    link: Option<String>,
) -> Answer {
    let mut table = csv::Writer::from_writer(Vec::new());
    let head = columns.iter().map(|column| (*column).to_owned()).collect();
    let written =
        std::iter::once(head).chain(rows).try_for_each(|cells: Vec<String>| table.write_record(cells));
    let body = written
        .map_err(|error| error.to_string())
        .and_then(|()| table.into_inner().map_err(|error| error.to_string()))
        .map_err(|error| {
            tracing::error!(error, "a table could not be written as CSV");
            Problem::failed()
        })?;
    // Ids are letters, digits, `_` and `-`.
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::VARY, "accept".to_owned()),
    ];
    let mut response = (StatusCode::OK, headers, body).into_response();
    if let Some(link) = link.and_then(|link| HeaderValue::from_str(&link).ok()) {
        response.headers_mut().insert(header::LINK, link);
    }
    Ok(response)
}

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
