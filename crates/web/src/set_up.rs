//! Setting up: from the first sign-in to the first block, and every form by which a
//! farm, its sites, blocks and plans are made and changed.

pub(crate) mod begin;
pub(crate) mod block;
pub(crate) mod calendars;
mod coordinates;
pub(crate) mod farm;
pub(crate) mod feed;
pub(crate) mod import;
pub(crate) mod limits;
pub(crate) mod mail;
pub(crate) mod many;
pub(crate) mod map;
pub(crate) mod plan;
pub(crate) mod readings;
pub(crate) mod site;
mod source;
pub(crate) mod together;

use access::Deed as May;
use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use crate::fields::Form;
use crate::pages;
use crate::tables::Table;
use crate::visit::{Signed, Stop};
use crate::words::Words;

/// A page with one form.
#[derive(Template)]
#[template(path = "form.html")]
pub(crate) struct FormPage {
    pub(crate) words: &'static Words,
    pub(crate) title: String,
    /// Address and words of the way back.
    pub(crate) back: Option<(String, String)>,
    /// What was just done.
    pub(crate) done: Option<String>,
    pub(crate) said: Vec<String>,
    /// What must not be passed over.
    pub(crate) cautions: Vec<String>,
    pub(crate) table: Option<Table>,
    /// Addresses and words of what comes next.
    pub(crate) next: Vec<(String, String)>,
    pub(crate) form: Form,
    /// What else is done here, each with what it means.
    pub(crate) deeds: Vec<Deed>,
    /// A map to point at, whose clicks go with the form.
    pub(crate) map: Option<MapShown>,
}

/// Something that is done by a button, folded up until it is wanted.
pub(crate) struct Deed {
    pub(crate) head: String,
    pub(crate) means: String,
    pub(crate) form: Form,
}

/// A map below a form.
pub(crate) struct MapShown {
    pub(crate) picture: String,
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// What a click does.
    pub(crate) said: String,
}

impl FormPage {
    pub(crate) fn new(words: &'static Words, title: impl Into<String>, form: Form) -> FormPage {
        FormPage {
            words,
            title: title.into(),
            back: None,
            done: None,
            said: Vec::new(),
            cautions: Vec::new(),
            table: None,
            next: Vec::new(),
            form,
            deeds: Vec::new(),
            map: None,
        }
    }

    pub(crate) fn back(self, href: String, text: &str) -> FormPage {
        FormPage { back: Some((href, text.to_owned())), ..self }
    }

    /// The page, as refused where its form is.
    pub(crate) fn shown(&self) -> Response {
        let wrong = self.form.is_wrong() || self.deeds.iter().any(|deed| deed.form.is_wrong());
        let status = if wrong { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
        pages::page(status, self)
    }
}

impl Signed {
    /// Refuses who does not set this farm up.
    pub(crate) fn sets_up(&self, farm_id: &str) -> Result<(), Stop> {
        if self.0.caller().may(May::SetUp, farm_id) {
            return Ok(());
        }
        Err(Stop::NotAllowed(self.words().get("settings.advisors_only").to_owned()))
    }

    /// Refuses who does not run the server.
    pub(crate) fn operates(&self) -> Result<(), Stop> {
        if self.0.caller().may_operate() {
            return Ok(());
        }
        Err(Stop::NotAllowed(self.words().get("settings.operators_only").to_owned()))
    }
}
