//! What was typed into a form, with what was wrong with it: it is shown again as it
//! was, each fault beside its field.

use api::Refused;
use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::{Map, Value, json};

use crate::visit::Stop;

/// The fields of a form.
#[derive(Debug, Default)]
pub(crate) struct Typed {
    pairs: Vec<(String, String)>,
    refused: Option<Refused>,
}

impl Typed {
    /// As a browser sent it.
    pub(crate) fn of(pairs: Vec<(String, String)>) -> Typed {
        Typed { pairs, refused: None }
    }

    /// A form that nobody has filled in yet, with what is proposed.
    pub(crate) fn proposed(pairs: &[(&str, &str)]) -> Typed {
        let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        Typed::of(pairs.iter().map(owned).collect())
    }

    /// What stands in a field, blanks at its ends left away.
    pub(crate) fn text(&self, name: &str) -> &str {
        self.pairs.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.trim())
    }

    /// The same; none where nothing was typed.
    pub(crate) fn given(&self, name: &str) -> Option<&str> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    /// Whether a box was ticked.
    pub(crate) fn ticked(&self, name: &str) -> bool {
        self.text(name) == "yes"
    }

    /// All values of a field that stands there more than once.
    pub(crate) fn all(&self, name: &str) -> Vec<&str> {
        self.pairs.iter().filter(|(known, _)| known == name).map(|(_, value)| value.as_str()).collect()
    }

    /// Whether there is anything in it.
    pub(crate) fn is_empty(&self) -> bool {
        self.pairs.iter().all(|(_, value)| value.trim().is_empty())
    }

    /// The fields as they are, those left empty left out.
    pub(crate) fn document(&self, names: &[&str]) -> Value {
        let given = names.iter().filter_map(|name| Some(((*name).to_owned(), json!(self.given(name)?))));
        Value::Object(given.collect::<Map<String, Value>>())
    }

    /// The same form with what the API says of it, where typing something else may help.
    pub(crate) fn refused(self, refused: Refused) -> Result<Typed, Stop> {
        let mendable =
            [StatusCode::UNPROCESSABLE_ENTITY, StatusCode::CONFLICT, StatusCode::PRECONDITION_FAILED];
        if !mendable.contains(&refused.status) {
            return Err(Stop::Refused(refused));
        }
        Ok(Typed { refused: Some(refused), ..self })
    }

    /// The status of the page that shows it.
    pub(crate) fn status(&self) -> StatusCode {
        self.refused.as_ref().map_or(StatusCode::OK, |refused| refused.status)
    }

    /// What was wrong with a field: that of its parts too.
    fn fault(&self, name: &str) -> Option<String> {
        let refused = self.refused.as_ref()?;
        let said: Vec<String> = refused
            .unfit
            .iter()
            .filter(|one| is_of(&one.place, name))
            .map(|one| whole(&one.detail))
            .collect();
        (!said.is_empty()).then(|| said.join(" "))
    }

    /// What was wrong and stands beside none of these fields.
    pub(crate) fn left(&self, fields: &[&str]) -> Option<String> {
        let refused = self.refused.as_ref()?;
        let beside = |place: &str| fields.iter().any(|name| is_of(place, name));
        let left: Vec<String> =
            refused.unfit.iter().filter(|one| !beside(&one.place)).map(|one| whole(&one.detail)).collect();
        match (refused.unfit.is_empty(), left.is_empty()) {
            (true, _) => Some(whole(&refused.detail)),
            (false, false) => Some(left.join(" ")),
            (false, true) => None,
        }
    }

    /// A field of a form; `kind` is the input's type.
    pub(crate) fn field(&self, form: &str, name: &str, kind: &'static str, label: &str) -> Field {
        Field {
            id: format!("{form}-{}", name.replace('.', "-")),
            name: name.to_owned(),
            label: label.to_owned(),
            kind,
            value: self.text(name).to_owned(),
            fault: self.fault(name),
            options: Vec::new(),
            required: false,
            complete: "off",
        }
    }
}

/// Whether a pointer or parameter leads to a field or into it. A field within another
/// is named with a point: `wishes.quiet`.
fn is_of(place: &str, name: &str) -> bool {
    let place = place.trim_start_matches('/').replace('/', ".");
    place == name || place.strip_prefix(name).is_some_and(|rest| rest.starts_with('.'))
}

/// A sentence from its start to its end.
fn whole(detail: &str) -> String {
    let mut letters = detail.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    let end = if detail.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

/// A field with its label, and what was wrong with it below.
#[derive(Template)]
#[template(path = "typed.html")]
pub(crate) struct Field {
    id: String,
    name: String,
    label: String,
    /// Type of the input, or `select`, `tick`, `textarea`.
    kind: &'static str,
    value: String,
    fault: Option<String>,
    /// Value and words of each choice.
    options: Vec<(String, String)>,
    required: bool,
    complete: &'static str,
}

impl Field {
    /// It must be filled in.
    pub(crate) fn required(mut self) -> Field {
        self.required = true;
        self
    }

    /// What a browser may fill in.
    pub(crate) fn complete(mut self, with: &'static str) -> Field {
        self.complete = with;
        self
    }

    /// Its choices.
    pub(crate) fn of(mut self, options: Vec<(String, String)>) -> Field {
        self.options = options;
        self
    }
}

/// Leads back to a page once something was done, so that loading it again does nothing.
pub(crate) fn back_to(address: &str) -> Response {
    Redirect::to(address).into_response()
}

#[cfg(test)]
mod tests {
    use api::Unfit;

    use super::*;

    #[test]
    fn a_fault_stands_beside_its_field_and_all_others_above() {
        let unfit = |place: &str, detail: &str| Unfit { place: place.into(), detail: detail.into() };
        let refused = Refused {
            status: StatusCode::UNPROCESSABLE_ENTITY,
            detail: "3 things".into(),
            unfit: vec![
                unfit("/email", "is missing"),
                unfit("/wishes/quiet/from", "`25` is no time"),
                unfit("/id", "is taken"),
            ],
        };
        let typed = Typed::proposed(&[("email", " <a> "), ("wishes.quiet.from", "25")]);
        let typed = typed.refused(refused).unwrap();
        assert_eq!(typed.status(), StatusCode::UNPROCESSABLE_ENTITY);
        let email = typed.field("add", "email", "email", "Address").render().unwrap();
        assert!(email.contains("value=\"&#60;a&#62;\"") && email.contains("Is missing."), "{email}");
        assert!(email.contains("aria-describedby=\"add-email-wrong\""), "{email}");
        let quiet = typed.field("add", "wishes.quiet.from", "text", "From").render().unwrap();
        assert!(quiet.contains("`25` is no time."), "{quiet}");
        assert_eq!(typed.left(&["email", "wishes.quiet.from"]).as_deref(), Some("Is taken."));
        assert_eq!(typed.left(&["email", "wishes", "id"]), None);
    }

    #[test]
    fn what_no_typing_mends_is_no_form() {
        let refused = Refused { status: StatusCode::FORBIDDEN, detail: "no".into(), unfit: Vec::new() };
        assert!(Typed::default().refused(refused).is_err());
    }
}
