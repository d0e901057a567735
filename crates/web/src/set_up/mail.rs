//! A mail to oneself, to see that mail arrives. It goes the way that alerts go: a row
//! that the deliver loop puts into words and sends.

use api::Stirred;
use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use model::time::{HOUR, Instant};
use store::{Message, MessageState, Person, Store, StoreError, Word};

use crate::fields::Sent;
use crate::said::Reader;
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{MailWay, Web, pages, said};

/// Mails to one person an hour: a box is not filled.
const AN_HOUR: i64 = 6;
/// Tries of one person that are looked for.
const MOST: usize = 500;
/// The latest of them, which are shown.
const SHOWN: usize = 5;

#[derive(Template)]
#[template(path = "mail_test.html")]
struct Page {
    words: &'static Words,
    title: &'static str,
    lead: String,
    /// Whether the next mail was asked for just now.
    asked: bool,
    wrong: Option<String>,
    /// Whether mails go into a folder in the place of a server.
    no_server: bool,
    /// That folder, for who runs the server: others have no business on its disk.
    folder: Option<String>,
    /// When each was written and what became of it, the latest first.
    tries: Vec<(String, String)>,
}

/// The notice of one's try of that number, from 1. The same number is the same notice,
/// so that a second press before it is sent asks for no second mail.
fn notice(email: &str, number: usize, at: Instant) -> store::Notice {
    Word::Trial.notice_of_no_farm(email, &number.to_string(), at)
}

/// What became of one's tries, the first one first.
async fn tries(store: &Store, email: &str) -> Result<Vec<Message>, StoreError> {
    let mut tries = Vec::new();
    while tries.len() < MOST {
        match store.message(&notice(email, tries.len() + 1, Instant::MIN).id).await? {
            Some(message) => tries.push(message),
            None => break,
        }
    }
    Ok(tries)
}

/// Whether a try of this person went out.
pub(super) async fn went_out(store: &Store, email: &str) -> Result<bool, StoreError> {
    Ok(tries(store, email).await?.iter().any(|message| message.sent_at.is_some()))
}

async fn person(web: &Web, signed: &Signed) -> Result<Person, Stop> {
    let id = signed.0.caller().person_id.as_deref().unwrap_or_default();
    let person = web.store.person(id).await?;
    person.ok_or_else(|| Stop::NotThere(signed.words().get("mail_test.nobody").to_owned()))
}

async fn shown(web: &Web, signed: &Signed, asked: bool, wrong: Option<String>) -> Result<Page, Stop> {
    let words = signed.words();
    let email = person(web, signed).await?.email;
    let tries = tries(&web.store, &email).await?;
    let reader = signed.reader(signed.farm_zone(None).await?);
    let said =
        |message: &Message| (said::dated(message.composed_at, reader.zone), became(message, web, reader));
    Ok(Page {
        words,
        title: words.get("mail_test.title"),
        no_server: matches!(web.mail_way, MailWay::Folder(_)),
        folder: match &web.mail_way {
            MailWay::Folder(folder) if signed.0.caller().may_operate() => Some(folder.clone()),
            _ => None,
        },
        tries: tries.iter().rev().take(SHOWN).map(said).collect(),
        lead: words.fill("mail_test.what_it_is", &[("email", &email)]),
        asked,
        wrong,
    })
}

fn became(message: &Message, web: &Web, reader: Reader) -> String {
    let words = reader.words;
    let cause = message.last_error.clone().unwrap_or_default();
    match (message.state, &web.mail_way) {
        (MessageState::Sent, _) if !cause.is_empty() => {
            words.fill("mail_test.came_back", &[("cause", &cause)])
        }
        (MessageState::Sent, MailWay::Server) => words.get("mail_test.taken").to_owned(),
        (MessageState::Sent, MailWay::Folder(_)) => words.get("mail_test.in_folder").to_owned(),
        (MessageState::Failed, _) => words.fill("mail_test.failed", &[("cause", &cause)]),
        _ if !cause.is_empty() => {
            let next = message.next_try_at.map(|at| said::dated(at, reader.zone)).unwrap_or_default();
            words.fill("mail_test.later", &[("cause", &cause), ("next", &next)])
        }
        _ => words.get("mail_test.waits").to_owned(),
    }
}

/// What became of the mails that were tried.
pub(crate) async fn page(State(web): State<Web>, signed: Signed, Query(asked): Query<Sent>) -> Shown {
    let page = shown(&web, &signed, asked.has("asked"), None).await?;
    Ok(pages::page(StatusCode::OK, &page))
}

/// Asks for one.
pub(crate) async fn send(State(web): State<Web>, signed: Signed) -> Shown {
    let email = person(&web, &signed).await?.email;
    let now = signed.0.now();
    let (number, _) = web.store.count_attempt(&format!("mail tried by {email}"), now, HOUR).await?;
    if number > AN_HOUR {
        let wrong = signed.words().get("mail_test.too_many").to_owned();
        let page = shown(&web, &signed, false, Some(wrong)).await?;
        return Ok(pages::page(StatusCode::TOO_MANY_REQUESTS, &page));
    }
    let tried = tries(&web.store, &email).await?.len();
    web.store.add_notices(&[notice(&email, tried + 1, now)]).await?;
    signed.0.stir(Stirred::Deliveries);
    on_to("/mail-test?asked=1")
}
