//! Who gets a farm's alerts, what they do not want to hear, and which addresses get
//! nothing.

use std::collections::{BTreeSet, HashMap};

use model::time::Instant;
use serde_json::json;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::seasons::Key;
use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect, load, notices};
use crate::error::{changed, missing, naming};
use crate::read::{self, ContactColumns, columns, word};
use crate::rows::{Contact, Mute, Notice, Silence, Silenced};
use crate::{ROWS_A_STATEMENT, Result, text};

pub(crate) async fn add_contact(db: &Pools, contact: &Contact, notices: &[Notice]) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Farm(&contact.farm_id)).await?;
    sqlx::query(
        "INSERT INTO contact (id, farm_id, name, email, pending_email, asked_at, confirmed_at, wishes, \
         version, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(&contact.id)
    .bind(&contact.farm_id)
    .bind(&contact.name)
    .bind(&contact.email)
    .bind(&contact.pending_email)
    .bind(contact.asked_at.0)
    .bind(contact.confirmed_at.map(|at| at.0))
    .bind(text::of(&contact.wishes))
    .bind(contact.version)
    .bind(contact.created_at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming(
        format!("contact `{}`, or its address {} on this farm,", contact.id, contact.email),
        &format!("farm `{}`", contact.farm_id),
    ))?;
    notices::add(&mut tx, notices).await?;
    let detail = json!({"name": contact.name, "email": contact.email});
    let note = Note::new(Of::Farm(&contact.farm_id), "contact added", "contact", &contact.id).with(detail);
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn contact(db: &Pools, id: &str) -> Result<Option<Contact>> {
    let mut tx = db.begin_read().await?;
    let contact = one(&mut tx, id, "").await?;
    match contact {
        Some(contact) if wall::sees(&mut tx, db, Of::Farm(&contact.farm_id)).await? => Ok(Some(contact)),
        _ => Ok(None),
    }
}

async fn one(connection: &mut Connection, id: &str, lock: &'static str) -> Result<Option<Contact>> {
    let mut query =
        QueryBuilder::<Db>::new(concat!("SELECT ", columns!(contact), " FROM contact WHERE id = "));
    query.push_bind(id).push(lock);
    let row: Option<ContactColumns> = query.build_query_as().fetch_optional(connection).await?;
    row.map(read::contact).transpose()
}

pub(crate) async fn contacts_of(db: &Pools, farm_id: &str) -> Result<Vec<Contact>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(Vec::new());
    }
    Ok(of_farms(&mut tx, [farm_id]).await?.remove(farm_id).unwrap_or_default())
}

pub(crate) async fn all_contacts(db: &Pools) -> Result<Vec<Contact>> {
    let rows: Vec<ContactColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(contact),
        " FROM contact JOIN farm ON farm.id = contact.farm_id \
         WHERE contact.confirmed_at IS NOT NULL AND farm.closed_at IS NULL AND NOT EXISTS \
         (SELECT 1 FROM silenced WHERE silenced.farm_id = contact.farm_id AND silenced.email = contact.email) \
         ORDER BY contact.id"
    ))
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::contact).collect()
}

/// Keeps others from changing a contact, which must still be as it was read.
async fn lock(connection: &mut Connection, held: &Contact) -> Result<()> {
    let now = one(connection, &held.id, dialect::LOCK).await?;
    match now.ok_or_else(|| missing("contact", &held.id))? {
        now if now == *held => Ok(()),
        _ => Err(changed("contact", &held.id)),
    }
}

pub(crate) async fn change_contact(
    db: &Pools,
    held: &Contact,
    as_it_is: &Contact,
    notices: &[Notice],
) -> Result<()> {
    let mut tx = db.begin_write().await?;
    lock(&mut tx, held).await?;
    wall::pass(&mut tx, db, Of::Farm(&held.farm_id)).await?;
    sqlx::query(
        "UPDATE contact SET name = $2, pending_email = $3, asked_at = $4, wishes = $5, version = version + 1 \
         WHERE id = $1",
    )
    .bind(&held.id)
    .bind(&as_it_is.name)
    .bind(&as_it_is.pending_email)
    .bind(as_it_is.asked_at.0)
    .bind(text::of(&as_it_is.wishes))
    .execute(&mut *tx)
    .await?;
    notices::add(&mut tx, notices).await?;
    let detail = json!({
        "name": as_it_is.name, "pending_email": as_it_is.pending_email, "wishes": as_it_is.wishes,
    });
    let note = Note::new(Of::Farm(&held.farm_id), "contact changed", "contact", &held.id).with(detail);
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn remove_contact(db: &Pools, held: &Contact, notices: &[Notice]) -> Result<()> {
    let mut tx = db.begin_write().await?;
    lock(&mut tx, held).await?;
    wall::pass(&mut tx, db, Of::Farm(&held.farm_id)).await?;
    for delete in ["DELETE FROM mute WHERE contact_id = $1", "DELETE FROM contact WHERE id = $1"] {
        sqlx::query(delete).bind(&held.id).execute(&mut *tx).await?;
    }
    notices::add(&mut tx, notices).await?;
    let note = Note::new(Of::Farm(&held.farm_id), "contact removed", "contact", &held.id);
    notes::note(&mut tx, db, note.with(json!({"email": held.email}))).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn confirm_contact(db: &Pools, id: &str, email: &str, at: Instant) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    let Some(held) = one(&mut tx, id, dialect::LOCK).await? else { return Ok(false) };
    if held.to_confirm() != Some(email) {
        // Confirmed already: whoever agrees once more wants mail again, where it was
        // stopped or came back. Or another address waits by now.
        let again = held.confirmed_at.is_some() && held.email == email;
        if again {
            unsilence(&mut tx, &held.farm_id, &[email]).await?;
            tx.commit().await?;
        }
        return Ok(again);
    }
    let taken: i64 =
        sqlx::query_scalar("SELECT count(*) FROM contact WHERE farm_id = $1 AND email = $2 AND id <> $3")
            .bind(&held.farm_id)
            .bind(email)
            .bind(id)
            .fetch_one(&mut *tx)
            .await?;
    if taken > 0 {
        return Ok(false);
    }
    sqlx::query(
        "UPDATE contact SET email = $2, pending_email = NULL, confirmed_at = $3, version = version + 1 \
         WHERE id = $1",
    )
    .bind(id)
    .bind(email)
    .bind(at.0)
    .execute(&mut *tx)
    .await?;
    unsilence(&mut tx, &held.farm_id, &[email]).await?;
    let note = Note::new(Of::Farm(&held.farm_id), "address confirmed", "contact", id);
    notes::note(&mut tx, db, note.with(json!({"email": email}))).await?;
    tx.commit().await?;
    Ok(true)
}

pub(crate) async fn mute(db: &Pools, mute: &Mute) -> Result<()> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(&mute.block_id)).await?;
    sqlx::query(
        "INSERT INTO mute (contact_id, block_id, year, state, at) VALUES ($1, $2, $3, $4, $5) \
         ON CONFLICT (contact_id, block_id, year) DO UPDATE SET state = excluded.state, at = excluded.at \
         WHERE mute.state <> excluded.state",
    )
    .bind(&mute.contact_id)
    .bind(&mute.block_id)
    .bind(i64::from(mute.year))
    .bind(&mute.state)
    .bind(mute.at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming("mute".to_owned(), "contact or block that it names"))?;
    let note = Note::season("muted", &mute.block_id, mute.year);
    notes::note_deed(&mut tx, db, note.with(json!({"contact": mute.contact_id, "state": mute.state})))
        .await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn unmute(db: &Pools, contact_id: &str, block_id: &str, year: i32) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    wall::pass(&mut tx, db, Of::Block(block_id)).await?;
    let ended = sqlx::query("DELETE FROM mute WHERE contact_id = $1 AND block_id = $2 AND year = $3")
        .bind(contact_id)
        .bind(block_id)
        .bind(i64::from(year))
        .execute(&mut *tx)
        .await?;
    let note = Note::season("unmuted", block_id, year).with(json!({"contact": contact_id}));
    notes::note_deed(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(ended.rows_affected() > 0)
}

type MuteColumns = (String, String, i64, String, i64);

fn read_mute((contact_id, block_id, year, state, at): MuteColumns) -> Result<Mute> {
    Ok(Mute { contact_id, block_id, year: read::bloom_year(year)?, state, at: Instant(at) })
}

pub(crate) async fn mutes_of(db: &Pools, contact_id: &str) -> Result<Vec<Mute>> {
    let rows: Vec<MuteColumns> = sqlx::query_as(
        "SELECT contact_id, block_id, year, state, at FROM mute WHERE contact_id = $1 \
         ORDER BY block_id, year",
    )
    .bind(contact_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read_mute).collect()
}

pub(crate) async fn silence(db: &Pools, silenced: &Silenced, notices: &[Notice]) -> Result<bool> {
    let mut tx = db.begin_write().await?;
    let noted = sqlx::query(
        "INSERT INTO silenced (farm_id, email, because, detail, at) VALUES ($1, $2, $3, $4, $5) \
         ON CONFLICT (farm_id, email, because) DO NOTHING",
    )
    .bind(&silenced.farm_id)
    .bind(&silenced.email)
    .bind(silenced.because.word())
    .bind(&silenced.detail)
    .bind(silenced.at.0)
    .execute(&mut *tx)
    .await
    .map_err(naming("silence".to_owned(), &format!("farm `{}`", silenced.farm_id)))?;
    if noted.rows_affected() == 0 {
        return Ok(false);
    }
    notices::add(&mut tx, notices).await?;
    let of = Of::Farm(&silenced.farm_id);
    let detail = json!({"email": silenced.email, "because": silenced.because.word()});
    let note = Note::new(of, "address silenced", "farm", &silenced.farm_id).with(detail);
    notes::note(&mut tx, db, note).await?;
    tx.commit().await?;
    Ok(true)
}

pub(crate) async fn silenced_of(db: &Pools, farm_id: &str) -> Result<Vec<Silenced>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(Vec::new());
    }
    Ok(silenced(&mut tx, [farm_id]).await?.remove(farm_id).unwrap_or_default())
}

/// Lets addresses of a farm get mail again.
pub(super) async fn unsilence(connection: &mut Connection, farm_id: &str, emails: &[&str]) -> Result<()> {
    for email in emails {
        sqlx::query("DELETE FROM silenced WHERE farm_id = $1 AND email = $2")
            .bind(farm_id)
            .bind(email.to_lowercase())
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// The contacts of some farms.
pub(super) async fn of_farms<'a>(
    connection: &mut Connection,
    farms: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Vec<Contact>>> {
    let farms: Vec<&str> = farms.into_iter().collect::<BTreeSet<_>>().into_iter().collect();
    let mut found: HashMap<String, Vec<Contact>> = HashMap::new();
    for farms in farms.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(concat!(
            "SELECT ",
            columns!(contact),
            " FROM contact WHERE farm_id IN ("
        ));
        load::list(&mut query, farms.iter().copied());
        query.push(") ORDER BY id");
        let rows: Vec<ContactColumns> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for row in rows {
            let contact = read::contact(row)?;
            found.entry(contact.farm_id.clone()).or_default().push(contact);
        }
    }
    Ok(found)
}

/// The addresses of some farms that get nothing.
pub(super) async fn silenced<'a>(
    connection: &mut Connection,
    farms: impl IntoIterator<Item = &'a str>,
) -> Result<HashMap<String, Vec<Silenced>>> {
    let farms: Vec<&str> = farms.into_iter().collect::<BTreeSet<_>>().into_iter().collect();
    let mut found: HashMap<String, Vec<Silenced>> = HashMap::new();
    for farms in farms.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "SELECT farm_id, email, because, detail, at FROM silenced WHERE farm_id IN (",
        );
        load::list(&mut query, farms.iter().copied());
        query.push(") ORDER BY farm_id, email, because");
        let rows: Vec<(String, String, String, Option<String>, i64)> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for (farm_id, email, because, detail, at) in rows {
            let because = word(Silence::named(&because), &because, || format!("silence of {email}"))?;
            let one = Silenced { farm_id: farm_id.clone(), email, because, detail, at: Instant(at) };
            found.entry(farm_id).or_default().push(one);
        }
    }
    Ok(found)
}

/// Who wants to hear nothing of the blocks of some seasons.
pub(super) async fn mutes(connection: &mut Connection, keys: &[&Key]) -> Result<HashMap<Key, Vec<Mute>>> {
    let mut found: HashMap<Key, Vec<Mute>> = HashMap::new();
    for keys in keys.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "SELECT contact_id, block_id, year, state, at FROM mute WHERE (block_id, year) IN ",
        );
        load::seasons(&mut query, keys.iter().map(|(block_id, year)| (block_id.as_str(), *year)));
        let rows: Vec<MuteColumns> =
            query.build_query_as().persistent(false).fetch_all(&mut *connection).await?;
        for row in rows {
            let mute = read_mute(row)?;
            found.entry((mute.block_id.clone(), mute.year)).or_default().push(mute);
        }
    }
    Ok(found)
}

pub(crate) async fn house_key(db: &Pools, kind: &str, fresh: &str) -> Result<String> {
    let mut tx = db.begin_write().await?;
    sqlx::query("INSERT INTO house_key (kind, secret) VALUES ($1, $2) ON CONFLICT (kind) DO NOTHING")
        .bind(kind)
        .bind(fresh)
        .execute(&mut *tx)
        .await?;
    let held: String = sqlx::query_scalar("SELECT secret FROM house_key WHERE kind = $1")
        .bind(kind)
        .fetch_one(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(held)
}

pub(crate) async fn caretakers(db: &Pools, farm_id: &str, without: &str) -> Result<Vec<String>> {
    let mut tx = db.begin_read().await?;
    let farms = load::farms(&mut tx, [farm_id]).await?;
    let listed = farms.get(farm_id).map(|farm| farm.alert_emails.clone()).unwrap_or_default();
    let advisors: Vec<String> = sqlx::query_scalar(
        "SELECT person.email FROM membership JOIN person ON person.id = membership.person_id \
         WHERE membership.farm_id = $1 AND membership.role = 'advisor'",
    )
    .bind(farm_id)
    .fetch_all(&mut *tx)
    .await?;
    let contacts = of_farms(&mut tx, [farm_id]).await?.remove(farm_id).unwrap_or_default();
    let confirmed =
        contacts.into_iter().filter(|contact| contact.confirmed_at.is_some()).map(|contact| contact.email);
    let silenced = silenced(&mut tx, [farm_id]).await?.remove(farm_id).unwrap_or_default();
    let listed = listed.iter().map(|address| address.to_lowercase());
    let mut all: BTreeSet<String> = listed.chain(advisors).chain(confirmed).collect();
    all.retain(|email| email != without && silenced.iter().all(|silenced| silenced.email != *email));
    Ok(all.into_iter().collect())
}

pub(crate) async fn farms_of_mail(db: &Pools, message_id: &str) -> Result<Vec<String>> {
    let mut tx = db.begin_read().await?;
    let carried: Vec<String> = sqlx::query_scalar(
        "SELECT DISTINCT block.farm_id FROM item JOIN alert ON alert.id = item.alert_id \
         JOIN block ON block.id = alert.block_id WHERE item.message_id = $1 ORDER BY block.farm_id",
    )
    .bind(message_id)
    .fetch_all(&mut *tx)
    .await?;
    if !carried.is_empty() {
        return Ok(carried);
    }
    Ok(sqlx::query_scalar(
        "SELECT DISTINCT contact.farm_id FROM contact JOIN message ON message.recipient = contact.email \
         WHERE message.id = $1 ORDER BY contact.farm_id",
    )
    .bind(message_id)
    .fetch_all(&mut *tx)
    .await?)
}
