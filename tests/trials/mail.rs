//! What the mail server took.

use black_box::smtp::Received;
use mail_parser::MessageParser;

/// A mail of ours as it came in.
#[derive(Debug, Clone)]
pub(crate) struct Letter {
    /// Its Message-ID.
    pub(crate) id: String,
    /// Kind and id of each alert that it carries.
    pub(crate) alerts: Vec<(String, String)>,
    /// Subject and text.
    pub(crate) words: String,
    /// When it was composed, seconds since 1970.
    pub(crate) date: i64,
    pub(crate) bytes: Vec<u8>,
}

impl Letter {
    pub(crate) fn read(message: &Received) -> Letter {
        let mail = MessageParser::default().parse(&message.bytes).unwrap();
        let carried = mail.header("X-Bloomtide-Alert").and_then(|value| value.as_text()).unwrap_or_default();
        // A long header is folded at any of its blanks.
        let carried = carried.split_whitespace().collect::<Vec<_>>().join(" ");
        let alert = |one: &str| {
            let (kind, id) = one.trim().split_once("; ").expect("kind; id");
            (kind.to_owned(), id.trim().to_owned())
        };
        let text = mail.body_text(0).unwrap();
        Letter {
            id: mail.message_id().unwrap().to_owned(),
            alerts: carried.split(',').filter(|one| !one.trim().is_empty()).map(alert).collect(),
            words: format!("{}\n{text}", mail.subject().unwrap()),
            date: mail.date().unwrap().to_timestamp(),
            bytes: message.bytes.clone(),
        }
    }
}
