//! Words to people beside the alerts: an address to confirm, a change to know of,
//! and what could not be delivered.

use model::time::{DAY, Instant};
use store::{Message, Notice, Purpose, Word};
use uuid::Uuid;

use crate::compose::{ComposeError, Draft, finish, plain};
use crate::sender::Sender;

/// A notice is worth sending so long.
const USEFUL: i64 = 3 * DAY;

fn subject(word: &Word) -> String {
    match word {
        Word::Confirm { farm, .. } => format!("{}: confirm that alerts may come here", plain(farm)),
        Word::AddressChanging { farm, .. } => {
            format!("{}: alerts are to go to another address", plain(farm))
        }
        Word::AddressRemoved { farm } => format!("{}: no more alerts to this address", plain(farm)),
        Word::WishesChanged { farm } => format!("{}: your alerts were set anew", plain(farm)),
        Word::Stopped { farm, who } => {
            format!("{}: {} gets no alerts any more", plain(farm), plain(who))
        }
        Word::Trial => "bloomtide: a mail to try the way that alerts go".to_owned(),
        Word::HookOff { farm, hook, .. } => format!("{}: hook {} is switched off", plain(farm), plain(hook)),
        Word::Undelivered { block, to, bounced, .. } => {
            let what = if *bounced { "came back" } else { "was not delivered" };
            format!("{}: mail to {} {what} - tell them yourself", plain(block), plain(to))
        }
    }
}

fn lines(word: &Word, recipient: &str, sender: &Sender) -> Vec<String> {
    match word {
        Word::Confirm { contact_id, farm } => {
            let mut lines = vec![
                format!(
                    "{} wants to send alerts on when to thin its apple blocks to this address.",
                    plain(farm)
                ),
                "Nothing comes before you agree. If you do not know what this is, do nothing.".to_owned(),
            ];
            lines.push(match sender.page_to_confirm(contact_id, recipient) {
                Some(url) => format!("Agree on this page: {url}"),
                None => "Ask whoever runs this server to confirm it for you: it has no address for links."
                    .to_owned(),
            });
            lines
        }
        Word::AddressChanging { farm, to } => vec![
            format!("Someone at {} asked that your alerts go to {} from now on.", plain(farm), plain(to)),
            "They come here until that address is confirmed. If this was not you, tell the farm.".to_owned(),
        ],
        Word::AddressRemoved { farm } => vec![
            format!("Alerts of {} do not come to this address any more.", plain(farm)),
            "If this was not meant, tell the farm at once: during bloom a missed alert costs a crop."
                .to_owned(),
        ],
        Word::WishesChanged { farm } => vec![
            format!("Which alerts of {} come to this address, or when, was changed.", plain(farm)),
            "If this was not you, tell the farm at once: during bloom a missed alert costs a crop."
                .to_owned(),
        ],
        Word::Stopped { farm, who } => vec![
            format!("The owner of {} stopped alerts of {} to it.", plain(who), plain(farm)),
            "See that someone else gets them, or ask for another address.".to_owned(),
        ],
        Word::Trial => vec![
            "You asked for this mail on a page of the server. It went the way that alerts go.".to_owned(),
            "If it lies among unwanted mail, tell your mail program that it belongs to the others: \
             during bloom a missed alert costs a crop."
                .to_owned(),
        ],
        Word::HookOff { farm, hook, cause } => vec![
            format!(
                "The receiver of hook {} of {} wants no more calls: {}",
                plain(hook),
                plain(farm),
                plain(cause)
            ),
            "It gets none any more. Put its address right and switch it on again, or remove it.".to_owned(),
        ],
        Word::Undelivered { farm, to, block, alert, cause, bounced } => vec![
            format!(
                "A mail to {} with the alert \"{}\" of {} ({}) {}.",
                plain(to),
                plain(alert),
                plain(block),
                plain(farm),
                if *bounced {
                    "was taken by a mail server and came back"
                } else {
                    "could not be delivered and was given up"
                }
            ),
            format!("The mail server said: {}", plain(cause)),
            "Tell them another way, look at the block yourself, and have the address put right.".to_owned(),
        ],
    }
}

/// Composes the message of a notice.
///
/// # Errors
/// [`ComposeError`], when its facts do not read or the address is none.
pub fn compose(notice: &Notice, sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    let word: Word = serde_json::from_value(notice.about.clone())
        .map_err(|error| ComposeError::Facts { alert: notice.id.clone(), cause: error.to_string() })?;
    finish(
        Draft {
            id: notice.id.clone(),
            recipient: &notice.recipient,
            subject: subject(&word),
            parts: vec![(String::new(), lines(&word, &notice.recipient, sender))],
            foot: Vec::new(),
            headers: vec![("X-Bloomtide-Notice".to_owned(), notice.kind.clone())],
            purpose: Purpose::Notice,
            useful_until: Some(notice.at.plus(USEFUL)),
        },
        sender,
        now,
    )
}

/// The hourly mail by which an operator sees that mail goes out at all.
///
/// # Errors
/// [`ComposeError`] when the address is none.
pub fn heartbeat(to: &str, sender: &Sender, now: Instant) -> Result<Message, ComposeError> {
    const HOUR: i64 = model::time::HOUR;
    let hour = Instant(now.0.div_euclid(HOUR) * HOUR);
    let id = Uuid::new_v5(&Uuid::NAMESPACE_OID, format!("heartbeat {hour} {to}").as_bytes()).to_string();
    finish(
        Draft {
            id,
            recipient: to,
            subject: format!("bloomtide: alive, {hour}"),
            parts: vec![(
                String::new(),
                vec![
                    "This mail went the way that alerts go. It comes every hour.".to_owned(),
                    "When two hours pass without one, alerts may not go out either: run `bloomtide doctor`."
                        .to_owned(),
                ],
            )],
            foot: Vec::new(),
            headers: vec![("X-Bloomtide-Notice".to_owned(), "heartbeat".to_owned())],
            purpose: Purpose::Heartbeat,
            useful_until: Some(hour.plus(2 * HOUR)),
        },
        sender,
        now,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_notice_reads_back_and_names_what_to_do() {
        let farm = "Quernstone\r\nBcc: x".to_owned();
        let words = [
            Word::Confirm { contact_id: "c-1".into(), farm: farm.clone() },
            Word::AddressChanging { farm: farm.clone(), to: "new@quernstone.example".into() },
            Word::AddressRemoved { farm: farm.clone() },
            Word::WishesChanged { farm: farm.clone() },
            Word::Trial,
            Word::Undelivered {
                farm,
                to: "ines@quernstone.example".into(),
                block: "bench".into(),
                alert: "due".into(),
                cause: "550 no such box".into(),
                bounced: false,
            },
        ];
        let sender = Sender::new("clock@quernstone.example").unwrap();
        for word in words {
            let notice = word.notice("farm", "Grower@quernstone.example", "seed", Instant(1_777_593_600));
            assert_eq!(notice.recipient, "grower@quernstone.example");
            let message = compose(&notice, &sender, notice.at).unwrap();
            let mail = mail_parser::MessageParser::default().parse(message.body.as_bytes()).unwrap();
            assert!(
                mail.header("Bcc").is_none() && mail.subject().is_some_and(|subject| !subject.contains('\n'))
            );
            assert_eq!(word.notice("farm", "grower@quernstone.example", "seed", notice.at).id.len(), 36);
        }
    }

    #[test]
    fn a_heartbeat_is_one_an_hour() {
        let sender = Sender::new("clock@quernstone.example").unwrap();
        let at = |seconds: i64| {
            heartbeat("ops@quernstone.example", &sender, Instant(1_777_593_600 + seconds)).unwrap().id
        };
        assert_eq!(at(0), at(3_599));
        assert_ne!(at(0), at(3_600));
    }
}
