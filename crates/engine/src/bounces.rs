//! Mails that come back: what a mail server puts into the bounce box is read and
//! heeded.

use std::io;
use std::sync::Arc;

use alerts::mail::bounce::Bounce;
use alerts::mail::bounce_box::Returned;

use store::{Silence, Silenced};

use crate::{Engine, PassError};

/// Reads what is new in the bounce box and heeds it; gives the bounces. A mail is
/// moved out of the way only after it was heeded, so none is lost; one may be
/// heeded twice.
///
/// # Errors
/// When the database fails. A box that cannot be read is noted, and the next pass
/// tries again.
pub async fn pass(engine: &Engine) -> Result<Vec<Bounce>, PassError> {
    let Some(boxed) = engine.bounces.clone() else { return Ok(Vec::new()) };
    let found = tokio::task::spawn_blocking({
        let boxed = Arc::clone(&boxed);
        move || boxed.look()
    });
    let found = found.await?.unwrap_or_else(noted("the bounce box cannot be read"));
    let mut bounces = Vec::new();
    for mail in found {
        match &mail.told {
            Ok(told) => {
                for bounce in told {
                    heed(engine, bounce).await?;
                }
                bounces.extend(told.iter().cloned());
            }
            Err(why) => tracing::info!(%why, "a mail that came to the sender's address is left to people"),
        }
        put_by(mail).await?;
    }
    Ok(bounces)
}

/// What follows from one bounce. It counts only when it names a mail that was
/// handed over to that recipient ([`Bounce::names`]), and its address stops only
/// when it is permanent ([`Bounce::permanent`]). The log names no address: it is
/// the operator's, and the address is a farm's.
async fn heed(engine: &Engine, bounce: &Bounce) -> Result<(), PassError> {
    let header_id = bounce.header_id.as_deref().unwrap_or("none");
    let (action, status) = (bounce.action.word(), bounce.status.to_string());
    let message = engine.store.message_by_header(header_id).await?;
    let ours = message.filter(|message| {
        message.attempts > 0 && bounce.names(&message.header_id, &message.recipient) && bounce.permanent()
    });
    let Some(message) = ours else {
        tracing::warn!(header_id, action, status, "a mail that came back changes nothing");
        return Ok(());
    };
    let now = engine.clock.now();
    let cause = if bounce.diagnostic.is_empty() {
        format!("it came back with {status}")
    } else {
        bounce.diagnostic.clone()
    };
    for farm_id in engine.store.farms_of_mail(&message.id).await? {
        let silenced = Silenced {
            farm_id,
            email: message.recipient.clone(),
            because: Silence::Bounced,
            detail: Some(cause.clone()),
            at: now,
        };
        engine.store.silence(&silenced, &[]).await?;
    }
    // Last: those who look after the farms hear of it by this, whatever came between.
    engine.store.note_bounce(&message.header_id, &cause, now).await?;
    tracing::warn!(header_id, status, "a mail came back for good; its address gets no more");
    Ok(())
}

async fn put_by(mail: Returned) -> Result<(), PassError> {
    let moved = tokio::task::spawn_blocking(move || mail.done()).await?;
    moved.unwrap_or_else(noted("a mail in the bounce box cannot be moved to `cur`"));
    Ok(())
}

fn noted<T: Default>(what: &'static str) -> impl FnOnce(io::Error) -> T {
    move |error| {
        tracing::error!(%error, "{what}");
        T::default()
    }
}
