//! To whom an alert goes: send, hold or skip, each with its reason.

use std::collections::BTreeMap;

use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::input;
use model::time::Instant;
use model::wishes::Wishes;
use store::{Addressed, Contact, Mute, Silence, Silenced};

/// All who may get a block's alerts.
#[derive(Debug, Clone, Copy)]
pub struct Recipients<'a> {
    /// The block's id.
    pub block_id: &'a str,
    /// The farm's own addresses: they get everything at once.
    pub addresses: &'a [String],
    /// People with wishes of their own.
    pub contacts: &'a [Contact],
    /// Addresses that get nothing.
    pub silenced: &'a [Silenced],
    /// Who wants to hear nothing of the block while it stays as it is.
    pub mutes: &'a [Mute],
}

/// What becomes of an alert of one kind for each recipient. A contact's wishes stand
/// over the farm's list of addresses where both name one address. `state` is that of
/// the season, `zone` the block's.
pub fn whom(
    recipients: &Recipients<'_>,
    kind: AlertKind,
    state: &str,
    zone: Tz,
    now: Instant,
) -> Vec<Addressed> {
    let mut found: BTreeMap<String, Addressed> = BTreeMap::new();
    for address in recipients.addresses {
        let email = address.to_lowercase();
        let sent = Addressed::sent(email.clone(), "the farm's list of addresses gets every alert");
        let silenced = silence(recipients, &email);
        found.insert(email, silenced.map_or(sent.clone(), |because| skipped(sent, because)));
    }
    for contact in recipients.contacts {
        found.insert(contact.email.clone(), to_contact(recipients, contact, kind, state, zone, now));
    }
    found.into_values().collect()
}

fn to_contact(
    recipients: &Recipients<'_>,
    contact: &Contact,
    kind: AlertKind,
    state: &str,
    zone: Tz,
    now: Instant,
) -> Addressed {
    let sent = Addressed::sent(&contact.email, format!("{} wants `{}`", contact.name, kind.word()));
    if contact.confirmed_at.is_none() {
        return skipped(sent, "the address is not confirmed yet");
    }
    if let Some(because) = silence(recipients, &contact.email) {
        return skipped(sent, because);
    }
    // What cannot be read any more must not keep an alert back.
    let wishes = input::read(&contact.wishes, |fields| Some(Wishes::from_fields(fields))).unwrap_or_default();
    if !wishes.wants(kind, recipients.block_id) {
        return skipped(sent, &format!("{} does not want `{}` of this block", contact.name, kind.word()));
    }
    let muted = recipients.mutes.iter().any(|mute| mute.contact_id == contact.id && mute.state == state);
    if muted && kind != AlertKind::Withdrawn {
        return skipped(sent, &format!("{} muted the block while it is `{state}`", contact.name));
    }
    let quiet = wishes.quiet.filter(|quiet| !kind.is_urgent() || quiet.also_urgent);
    match quiet.and_then(|quiet| quiet.until(now, zone)) {
        Some(until) => Addressed {
            because: format!("quiet hours until {}", until.spoken(zone)),
            hold_until: Some(until),
            ..sent
        },
        None => sent,
    }
}

fn silence(recipients: &Recipients<'_>, email: &str) -> Option<&'static str> {
    let one = recipients.silenced.iter().find(|silenced| silenced.email == email)?;
    Some(match one.because {
        Silence::Stopped => "its owner stopped mail to this address",
        Silence::Bounced => "mail to this address came back",
    })
}

fn skipped(sent: Addressed, because: &str) -> Addressed {
    Addressed { because: because.to_owned(), skipped: true, ..sent }
}

#[cfg(test)]
mod tests;
