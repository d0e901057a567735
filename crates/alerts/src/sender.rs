//! Who mails come from, and the pages that their links lead to.

use store::Seal;

use crate::mail::letter::{self, LetterError};

/// Who the mails come from.
#[derive(Debug, Clone)]
pub struct Sender {
    /// `Name <box@domain>` or `box@domain`.
    pub from: String,
    /// Domain of the Message-IDs.
    pub domain: String,
    /// Where links lead; without it mails have none.
    pub links: Option<Links>,
}

/// What links are made of.
#[derive(Debug, Clone)]
pub struct Links {
    /// Address under which people reach the server, without a slash at its end.
    pub public_url: String,
    /// Marks them as ours.
    pub seal: Seal,
}

impl Sender {
    /// A sender without links, whose Message-IDs carry the domain of its address.
    ///
    /// # Errors
    /// When `from` is no mail address.
    pub fn new(from: &str) -> Result<Sender, LetterError> {
        let address = letter::address(from)?;
        let domain = address.rsplit('@').next().unwrap_or("localhost").to_owned();
        Ok(Sender { from: from.to_owned(), domain, links: None })
    }

    /// The page on which a message's recipient takes note, mutes or stops. Opening it
    /// changes nothing.
    pub fn page_of(&self, message_id: &str) -> Option<String> {
        let links = self.links.as_ref()?;
        let mark = links.seal.of_mail(message_id);
        Some(format!("{}/mail/{message_id}/{mark}", links.public_url))
    }

    /// The page on which the owner of an address confirms it.
    pub fn page_to_confirm(&self, contact_id: &str, email: &str) -> Option<String> {
        let links = self.links.as_ref()?;
        let mark = links.seal.of_address(contact_id, email);
        Some(format!("{}/confirm/{contact_id}/{mark}", links.public_url))
    }

    /// Headers by which a mail program stops mails at one click (RFC 8058).
    pub(crate) fn unsubscribe(&self, message_id: &str) -> Vec<(String, String)> {
        let Some(page) = self.page_of(message_id) else { return Vec::new() };
        vec![
            ("List-Unsubscribe".to_owned(), format!("<{page}/stop>")),
            ("List-Unsubscribe-Post".to_owned(), "List-Unsubscribe=One-Click".to_owned()),
        ]
    }
}
