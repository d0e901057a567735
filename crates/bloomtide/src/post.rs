//! Mails of a few words to people, beside the alerts: a link for a new password.
//! What is in them is kept nowhere.

use std::sync::Arc;
use std::time::Duration;

use alerts::deliver::Outlet;
use alerts::mail::folder;
use alerts::mail::letter::{Letter, build, header_id};
use alerts::mail::smtp::{self, Outcome, Stage};
use alerts::sender::Sender;
use model::time::Clock;
use web::{Post, Word};

/// Seconds between tries; the link in it lasts an hour.
const PAUSES: [u64; 3] = [10, 60, 300];

/// The way to people's mail, where links have an address to lead to.
pub(crate) fn post(
    public_url: Option<&String>,
    outlet: &Outlet,
    sender: &Sender,
    clock: &Arc<dyn Clock>,
) -> Option<Post> {
    let (outlet, sender, clock) = (outlet.clone(), sender.clone(), clock.clone());
    let send = move |word: Word| {
        let (outlet, sender, clock) = (outlet.clone(), sender.clone(), clock.clone());
        tokio::spawn(async move {
            if let Err(cause) = carry(&outlet, &sender, &clock, &word).await {
                // Neither to whom nor what: the link lets in. Servers quote the address.
                let cause = cause.replace(&word.to, "…");
                tracing::error!(cause, "a mail with a link did not go out");
            }
        });
    };
    Some(Post { public_url: public_url?.clone(), send: Arc::new(send) })
}

async fn carry(outlet: &Outlet, sender: &Sender, clock: &Arc<dyn Clock>, word: &Word) -> Result<(), String> {
    let id =
        header_id(&uuid::Uuid::now_v7().to_string(), &sender.domain).map_err(|error| error.to_string())?;
    let letter = Letter {
        from: sender.from.clone(),
        to: word.to.clone(),
        subject: word.subject.clone(),
        text: word.text.clone(),
        html: html(&word.text),
        header_id: id.clone(),
        date: clock.now(),
        headers: Vec::new(),
    };
    let message = build(&letter).map_err(|error| error.to_string())?;
    let mut pauses = PAUSES.iter();
    loop {
        let cause = match outlet {
            Outlet::Folder(path) => match folder::keep(path, &id, &message).await {
                Ok(_) => return Ok(()),
                Err(error) => error.to_string(),
            },
            Outlet::Server { relay, from } => {
                match smtp::send(relay, from, &word.to, &message, || async { true }).await {
                    Outcome::Sent { .. } => return Ok(()),
                    Outcome::Refused { stage, code, text } => format!("{code} at {stage}: {text}"),
                    Outcome::Later { stage, cause } => said(stage, &cause),
                    // It may be there: a second one would only confuse.
                    Outcome::Unknown { cause } => return Err(cause),
                }
            }
        };
        match pauses.next() {
            Some(pause) => tokio::time::sleep(Duration::from_secs(*pause)).await,
            None => return Err(cause),
        }
    }
}

fn said(stage: Stage, cause: &str) -> String {
    format!("{stage}: {cause}")
}

/// The same words as HTML; a link is one.
fn html(text: &str) -> String {
    let line = |line: &str| {
        let safe =
            line.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
        if line.starts_with("http://") || line.starts_with("https://") {
            format!("<a href=\"{safe}\">{safe}</a>")
        } else {
            safe
        }
    };
    let lines: Vec<String> = text.lines().map(line).collect();
    format!("<!doctype html>\n<html lang=\"en\"><body><p>{}</p></body></html>\n", lines.join("<br>\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_is_one_and_all_else_is_text() {
        let shown = html("a < b\nhttps://x.example/reset/bl_1?a=1&b=\"2\"");
        assert!(shown.contains("a &lt; b<br>"));
        assert!(shown.contains("<a href=\"https://x.example/reset/bl_1?a=1&amp;b=&quot;2&quot;\">"));
    }
}
