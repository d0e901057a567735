//! Forms: what was typed stays in them, and each fault stands beside its field. They
//! work without a script.

mod field;
mod sent;

use api::{Amiss, Undone};
use askama::Template;
use axum::http::StatusCode;

pub(crate) use self::field::{Field, Group, Shape};
pub(crate) use self::sent::{Sent, TICKED, number, shown, without_nulls};
use crate::visit::Stop;
use crate::words::Words;

/// A form. A page may hold several, each with a name of its own.
#[derive(Debug, Clone, Template)]
#[template(path = "fields.html")]
pub(crate) struct Form {
    words: &'static Words,
    /// What the ids of its fields begin with; empty where it is the only one of its page.
    name: String,
    pub(crate) groups: Vec<Group>,
    /// What its button says. Without one only what was wrong is shown.
    pub(crate) button: String,
    /// What the button is about, for who hears the page, where it has many alike.
    of: String,
    /// Whether something else is the main thing to do on the page.
    plain: bool,
    /// Where it is sent; empty for the page's own address.
    action: String,
    /// Whether it asks and changes nothing: then it stands in the page's address.
    asks: bool,
    /// Whether a file goes with it.
    upload: bool,
    /// Lists of suggestions by id.
    lists: Vec<(&'static str, Vec<String>)>,
    /// The tag of what it changes.
    tag: Option<String>,
    /// What is wrong with no field in particular.
    pub(crate) wrong: Vec<String>,
}

/// What was typed into a form of a page and refused.
#[derive(Debug)]
pub(crate) struct Tried {
    /// The form's name.
    form: String,
    sent: Sent,
    undone: Undone,
}

impl Tried {
    /// Typing something else may help; all else stops the page.
    pub(crate) fn new(form: impl Into<String>, sent: Sent, undone: Undone) -> Result<Tried, Stop> {
        Ok(Tried { form: form.into(), sent, undone: theirs(undone)? })
    }

    pub(crate) fn sent(&self) -> &Sent {
        &self.sent
    }
}

/// The status of a page on which a form was tried, or none.
pub(crate) fn status(tried: Option<&Tried>) -> StatusCode {
    tried.map_or(StatusCode::OK, |_| StatusCode::UNPROCESSABLE_ENTITY)
}

/// What was wrong and can be put right; all else stops the page.
pub(crate) fn theirs(undone: Undone) -> Result<Undone, Stop> {
    if undone.is_theirs() { Ok(undone) } else { Err(Stop::from(undone)) }
}

/// All that is wrong, with our own sentence in the place of another about the same field.
pub(crate) fn told_of(undone: Undone, unread: &[Amiss]) -> Undone {
    let others = undone.errors.into_iter().filter(|one| unread.iter().all(|own| own.pointer != one.pointer));
    let errors = others.chain(unread.iter().cloned()).collect();
    Undone { errors, ..undone }
}

impl Form {
    pub(crate) fn new(words: &'static Words, button: &str, groups: Vec<Group>) -> Form {
        Form {
            words,
            name: String::new(),
            groups,
            button: button.to_owned(),
            of: String::new(),
            plain: false,
            action: String::new(),
            asks: false,
            upload: false,
            lists: Vec::new(),
            tag: None,
            wrong: Vec::new(),
        }
    }

    /// A button alone, of which a page may have many: `of` says what each is about.
    pub(crate) fn deed(words: &'static Words, name: &str, button: &str, of: &str) -> Form {
        Form { of: of.to_owned(), ..Form::new(words, button, Vec::new()).named(name).plain() }
    }

    /// One of several on its page.
    pub(crate) fn named(self, name: &str) -> Form {
        Form { name: name.to_owned(), ..self }
    }

    pub(crate) fn plain(self) -> Form {
        Form { plain: true, ..self }
    }

    pub(crate) fn to(self, action: impl Into<String>) -> Form {
        Form { action: action.into(), ..self }
    }

    pub(crate) fn asking(self) -> Form {
        Form { asks: true, ..self }
    }

    pub(crate) fn uploading(self) -> Form {
        Form { upload: true, ..self }
    }

    /// With a list of suggestions.
    pub(crate) fn suggesting(mut self, id: &'static str, list: Vec<String>) -> Form {
        self.lists.push((id, list));
        self
    }

    /// Changes what has this tag.
    pub(crate) fn held(self, tag: Option<String>) -> Form {
        Form { tag, ..self }
    }

    fn id(&self, field: &str) -> String {
        if self.name.is_empty() { field.to_owned() } else { format!("{}-{field}", self.name) }
    }

    /// Its own id.
    fn own_id(&self) -> String {
        self.id("typed")
    }

    /// What describes a field, for who hears the page.
    fn described_by(&self, field: &Field) -> String {
        let id = self.id(&field.name);
        let parts = [
            ("hint", !field.hint.is_empty()),
            ("now", field.now.is_some()),
            ("wrong", !field.wrong.is_empty()),
        ];
        let parts = parts.into_iter().filter(|(_, there)| *there);
        parts.map(|(part, _)| format!("{id}-{part}")).collect::<Vec<_>>().join(" ")
    }

    fn fields(&mut self) -> impl Iterator<Item = &mut Field> {
        self.groups.iter_mut().flat_map(|group| group.fields.iter_mut())
    }

    /// With what was sent in its fields.
    pub(crate) fn filled(mut self, sent: &Sent) -> Form {
        self.fields().for_each(|field| field.fill(sent));
        self
    }

    /// Notes a fault at the field with the pointer, or the one it lies under. The name of
    /// a parameter is as good as a pointer.
    pub(crate) fn fault(&mut self, pointer: &str, detail: &str) {
        let pointer = pointer.trim_start_matches('/');
        let lies_in = |field: &Field| {
            let rest = pointer.strip_prefix(field.pointer.trim_start_matches('/'));
            !field.is_hidden() && rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        let nearest = self.fields().filter(|field| lies_in(field)).max_by_key(|field| field.pointer.len());
        match nearest {
            Some(field) => field.wrong.push(detail.to_owned()),
            None => {
                let place = pointer.replace(['/', '_'], " ");
                let said = if place.is_empty() { detail.to_owned() } else { format!("{place}: {detail}") };
                self.wrong.push(said);
            }
        }
    }

    /// With all that was wrong beside its fields.
    pub(crate) fn refused(mut self, undone: &Undone) -> Form {
        for amiss in &undone.errors {
            self.fault(&amiss.pointer, &amiss.detail);
        }
        if undone.errors.is_empty() {
            self.wrong.push(undone.detail.clone());
        }
        self
    }

    /// Of a form that holds what stands there now: the same after it was tried. What was
    /// typed is in it with what was wrong; where someone else made a change meanwhile,
    /// beside each field that differs is what stands there now, and sent once more it
    /// changes that.
    pub(crate) fn after(self, tried: Option<&Tried>) -> Form {
        let Some(Tried { sent, undone, .. }) = tried.filter(|tried| tried.form == self.name) else {
            return self;
        };
        let now: Vec<String> =
            self.groups.iter().flat_map(|group| &group.fields).map(|field| field.said(self.words)).collect();
        let mut form = self.filled(sent);
        if undone.status != StatusCode::PRECONDITION_FAILED.as_u16() {
            form.tag = form.tag.and_then(|_| sent.text("tag").map(str::to_owned));
            return form.refused(undone);
        }
        let words = form.words;
        form.wrong.push(words.get("settings.changed_meanwhile").to_owned());
        for (field, now) in form.fields().zip(now).filter(|(field, _)| !field.is_hidden()) {
            field.now = (field.said(words) != now).then_some(now);
        }
        form
    }

    /// The fields that are to be put right, for the list above the form.
    pub(crate) fn faulty(&self) -> Vec<&Field> {
        let fields = self.groups.iter().flat_map(|group| &group.fields);
        fields.filter(|field| !field.wrong.is_empty()).collect()
    }

    /// Whether anything is wrong with it.
    pub(crate) fn is_wrong(&self) -> bool {
        !self.wrong.is_empty() || !self.faulty().is_empty()
    }
}

#[cfg(test)]
mod tests;
