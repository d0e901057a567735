//! What a deliver pass does beside the alerts: it sees that mail may go out at all,
//! tries another way for what did not arrive, tells people what could not be
//! delivered, and composes digests and the heartbeat.

use std::collections::BTreeMap;

use alerts::decide::{Recipients, whom};
use alerts::digest::{self, Stand};
use alerts::notices::heartbeat;
use chrono_tz::Tz;
use model::alert_kind::AlertKind;
use model::input;
use model::season::Season;
use model::time::{Instant, MINUTE, zone};
use model::wishes::Wishes;
use store::{Addressed, Contact, Word};

use crate::{Engine, PassError};

/// What has not reached someone after this is tried another way.
const SECOND_WAY_AFTER: i64 = 30 * MINUTE;
/// Looked at in one pass; the rest comes with the next.
const AT_ONCE: u32 = 200;
/// Most blocks of a digest.
const MOST_BLOCKS: u32 = 5_000;

/// Whether mail may go out: after a restore not before every journal was read.
pub(crate) async fn may_go_out(engine: &Engine) -> Result<bool, PassError> {
    let unread = engine.store.unread_journals().await?;
    if let Some(first) = unread.first() {
        tracing::warn!(
            journal = first,
            more = unread.len() - 1,
            "the database was restored: no mail goes out until this journal is read, or `bloomtide restore --release`"
        );
    }
    Ok(unread.is_empty())
}

/// All of it, once.
pub(crate) async fn look(engine: &Engine) -> Result<(), PassError> {
    second_way(engine).await?;
    tell_failures(engine).await?;
    digests(engine).await?;
    if let Some(to) = &engine.heartbeat_to {
        match heartbeat(to, &engine.sender, engine.clock.now()) {
            Ok(message) => {
                engine.store.add_once(&message).await?;
            }
            Err(error) => tracing::error!(%error, "the heartbeat cannot be composed"),
        }
    }
    Ok(())
}

/// Others of the farm who stand in get what has not reached someone for a while.
async fn second_way(engine: &Engine) -> Result<(), PassError> {
    let now = engine.clock.now();
    let late = engine.store.undelivered(now.plus(-SECOND_WAY_AFTER), now, AT_ONCE).await?;
    for one in late {
        let contacts = engine.store.contacts_of(&one.farm.id).await?;
        let silenced = engine.store.silenced_of(&one.farm.id).await?;
        let stand_ins: Vec<Contact> = contacts
            .into_iter()
            .filter(|contact| contact.email != one.item.recipient && wishes(contact).stand_in)
            .map(|contact| Contact { wishes: Wishes::default().document(), ..contact })
            .collect();
        let recipients = Recipients {
            block_id: &one.block_id,
            addresses: &[],
            contacts: &stand_ins,
            silenced: &silenced,
            mutes: &[],
        };
        let kind = AlertKind::named(&one.kind).unwrap_or(AlertKind::Due);
        let to: Vec<Addressed> = whom(&recipients, kind, "", Tz::UTC, now)
            .into_iter()
            .filter(|to| !to.skipped)
            .map(|to| Addressed {
                because: format!("it has not reached {} for 30 minutes", one.item.recipient),
                ..to
            })
            .collect();
        engine.store.try_another_way(&one.item.id, &one.item.alert_id, &to, now).await?;
    }
    Ok(())
}

/// Whoever looks after a farm hears of mail that was given up or came back.
async fn tell_failures(engine: &Engine) -> Result<(), PassError> {
    let now = engine.clock.now();
    for failed in engine.store.failed_untold(AT_ONCE).await? {
        let mut notices = Vec::new();
        for (farm, block, alert) in &failed.of {
            let word = Word::Undelivered {
                farm: farm.name.clone(),
                to: failed.message.recipient.clone(),
                block: block.clone(),
                alert: alert.clone(),
                cause: failed.message.last_error.clone().unwrap_or_else(|| "nothing".to_owned()),
                bounced: failed.bounced,
            };
            for to in engine.store.caretakers(&farm.id, &failed.message.recipient).await? {
                notices.push(word.notice(&farm.id, &to, &failed.message.id, now));
            }
        }
        engine.store.tell_failure(&failed.message.id, &notices, now).await?;
    }
    Ok(())
}

/// Morning digests, and what is expected to fall into someone's quiet hours.
async fn digests(engine: &Engine) -> Result<(), PassError> {
    let now = engine.clock.now();
    let mut stands: BTreeMap<String, Vec<Stand>> = BTreeMap::new();
    for contact in engine.store.all_contacts().await? {
        let wishes = wishes(&contact);
        if let Some(id) = digest::due_digest(&contact, &wishes, now)
            && engine.store.message(&id).await?.is_none()
        {
            let farm = engine.store.farm(&contact.farm_id).await?.map(|farm| farm.name).unwrap_or_default();
            let blocks = blocks(engine, &mut stands, &contact, &wishes, now).await?;
            let message = digest::digest(id, &contact, &wishes, &farm, &blocks, &engine.sender, now);
            once(engine, message).await?;
        }
        if wishes.quiet.is_some() {
            // Hours are those of the blocks' wall clock; most farms have one. Their
            // seasons are read only when it is time.
            let sites = engine.store.sites(Some(&contact.farm_id), None, 1).await?;
            let of_site = sites.first().and_then(|site| zone(&site.time_zone).ok());
            let Some(zone) = wishes.zone.or(of_site) else { continue };
            if let Some((id, begin, end)) = digest::due_evening(&contact, &wishes, zone, now)
                && engine.store.message(&id).await?.is_none()
            {
                let blocks = blocks(engine, &mut stands, &contact, &wishes, now).await?;
                once(engine, digest::evening(id, &contact, &blocks, (begin, end), &engine.sender, now))
                    .await?;
            }
        }
    }
    Ok(())
}

async fn once(
    engine: &Engine,
    message: Result<Option<store::Message>, alerts::compose::ComposeError>,
) -> Result<(), PassError> {
    match message {
        Ok(Some(message)) => {
            engine.store.add_once(&message).await?;
        }
        Ok(None) => {}
        Err(error) => tracing::error!(%error, "a digest cannot be composed"),
    }
    Ok(())
}

fn wishes(contact: &Contact) -> Wishes {
    input::read(&contact.wishes, |fields| Some(Wishes::from_fields(fields))).unwrap_or_default()
}

/// The blocks of a contact's farm of which they want to hear anything, this year.
async fn blocks(
    engine: &Engine,
    stands: &mut BTreeMap<String, Vec<Stand>>,
    contact: &Contact,
    wishes: &Wishes,
    now: Instant,
) -> Result<Vec<Stand>, PassError> {
    if !stands.contains_key(&contact.farm_id) {
        let year = now.local_year(wishes.zone.unwrap_or(Tz::UTC));
        let rows = engine.store.board(year, Some(&contact.farm_id), MOST_BLOCKS).await?;
        let stand = |row: store::BoardRow| {
            let season: Season = serde_json::from_str(row.doc.as_deref()?).ok()?;
            let zone = zone(&row.time_zone).ok()?;
            Some(Stand { block_id: row.block_id, block: row.name, zone, season })
        };
        stands.insert(contact.farm_id.clone(), rows.into_iter().filter_map(stand).collect());
    }
    let all = stands.get(&contact.farm_id).cloned().unwrap_or_default();
    let wanted = |stand: &Stand| AlertKind::ALL.iter().any(|kind| wishes.wants(*kind, &stand.block_id));
    Ok(all.into_iter().filter(wanted).collect())
}
