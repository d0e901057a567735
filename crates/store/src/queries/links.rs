//! Links that work once.

use model::time::Instant;

use serde_json::json;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Pools, credentials, people};
use crate::error::naming;
use crate::read::{self, LinkColumns, columns};
use crate::rows::{Behalf, Link, LinkKind, Person};
use crate::{Result, StoreError};

pub(crate) async fn add_link(db: &Pools, link: &Link) -> Result<()> {
    let mut tx = db.begin_people().await?;
    let of = link.farm_id.as_deref().map_or(Of::Server, Of::Farm);
    wall::pass(&mut tx, db, of).await?;
    if link.kind == LinkKind::Claim {
        // Only the newest is shown to anyone who reads the program's lines now.
        sqlx::query(
            "UPDATE link SET expires_at = $2 WHERE kind = $1 AND used_at IS NULL AND expires_at > $2",
        )
        .bind(link.kind.word())
        .bind(link.created_at.0)
        .execute(&mut *tx)
        .await?;
    }
    sqlx::query(
        "INSERT INTO link (id, kind, hash, email, farm_id, role, made_by, created_at, expires_at, \
         used_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(&link.id)
    .bind(link.kind.word())
    .bind(&link.hash)
    .bind(&link.email)
    .bind(&link.farm_id)
    .bind(link.role.map(|role| role.word()))
    .bind(&link.made_by)
    .bind(link.created_at.0)
    .bind(link.expires_at.0)
    .bind(link.used_at.map(|at| at.0))
    .execute(&mut *tx)
    .await
    .map_err(naming(format!("link `{}`", link.id), "farm or person that the link names"))?;
    let detail =
        json!({"for": link.kind.word(), "email": link.email, "role": link.role.map(|role| role.word())});
    notes::note_deed(&mut tx, db, Note::new(of, "made", "link", &link.id).with(detail)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn link_by_hash(db: &Pools, hash: &str) -> Result<Option<Link>> {
    find(&mut *db.look().await?, hash).await
}

async fn find(connection: &mut Connection, hash: &str) -> Result<Option<Link>> {
    let row: Option<LinkColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(link), " FROM link WHERE hash = $1"))
            .bind(hash)
            .fetch_optional(connection)
            .await?;
    row.map(read::link).transpose()
}

pub(crate) async fn invitations_of(db: &Pools, farm_id: &str, now: Instant) -> Result<Vec<Link>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<LinkColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(link),
        " FROM link WHERE farm_id = $1 AND kind = $2 AND used_at IS NULL AND expires_at > $3 ORDER BY id"
    ))
    .bind(farm_id)
    .bind(LinkKind::Invitation.word())
    .bind(now.0)
    .fetch_all(&mut *tx)
    .await?;
    rows.into_iter().map(read::link).collect()
}

pub(crate) async fn end_invitation(db: &Pools, farm_id: &str, id: &str, now: Instant) -> Result<bool> {
    let mut tx = db.begin_people().await?;
    wall::pass(&mut tx, db, Of::Farm(farm_id)).await?;
    let ended = sqlx::query(
        "UPDATE link SET expires_at = $4 WHERE id = $1 AND farm_id = $2 AND kind = $3 \
         AND used_at IS NULL AND expires_at > $4",
    )
    .bind(id)
    .bind(farm_id)
    .bind(LinkKind::Invitation.word())
    .bind(now.0)
    .execute(&mut *tx)
    .await?;
    if ended.rows_affected() == 1 {
        notes::note_deed(&mut tx, db, Note::new(Of::Farm(farm_id), "taken back", "link", id)).await?;
    }
    tx.commit().await?;
    Ok(ended.rows_affected() == 1)
}

pub(crate) async fn redeem(db: &Pools, hash: &str, person: &Person, now: Instant) -> Result<Option<Person>> {
    let mut tx = db.begin_people().await?;
    // Of two who come at once only one finds it unused.
    let used =
        sqlx::query("UPDATE link SET used_at = $2 WHERE hash = $1 AND used_at IS NULL AND expires_at > $2")
            .bind(hash)
            .bind(now.0)
            .execute(&mut *tx)
            .await?;
    if used.rows_affected() == 0 {
        return Ok(None);
    }
    let Some(link) = find(&mut tx, hash).await? else {
        return Ok(None);
    };
    let redeemed = match link.kind {
        LinkKind::Claim => {
            let people: i64 = sqlx::query_scalar("SELECT count(*) FROM person").fetch_one(&mut *tx).await?;
            if people > 0 {
                return Ok(None);
            }
            let person = Person { operator: true, ..person.clone() };
            people::add(&mut tx, &person).await?;
            person
        }
        LinkKind::Invitation => {
            let (Some(email), Some(farm_id), Some(role)) = (&link.email, &link.farm_id, link.role) else {
                return Err(StoreError::Unreadable {
                    what: format!("link `{}`", link.id),
                    why: "no farm".into(),
                });
            };
            let member = match people::by_email(&mut tx, email).await? {
                // Who has a password keeps it: the link alone does not change it.
                Some(known) => known,
                None => {
                    let new = Person { email: email.clone(), operator: false, ..person.clone() };
                    people::add(&mut tx, &new).await?;
                    new
                }
            };
            people::give(&mut tx, &member.id, farm_id, role, now).await?;
            member
        }
        LinkKind::Reset => {
            let email = link.email.as_deref().unwrap_or_default();
            let Some(known) = people::by_email(&mut tx, email).await? else {
                return Ok(None);
            };
            sqlx::query("UPDATE person SET password = $2 WHERE id = $1")
                .bind(&known.id)
                .bind(&person.password)
                .execute(&mut *tx)
                .await?;
            credentials::end_sessions(&mut tx, &known.id, now).await?;
            // Others may have asked for links too, or the person twice.
            sqlx::query("UPDATE link SET expires_at = $3 WHERE kind = $1 AND email = $2 AND used_at IS NULL AND expires_at > $3")
                .bind(LinkKind::Reset.word())
                .bind(email)
                .bind(now.0)
                .execute(&mut *tx)
                .await?;
            Person { password: person.password.clone(), ..known }
        }
    };
    let behalf = Behalf {
        viewer: None,
        person_id: Some(redeemed.id.clone()),
        credential_id: None,
        request_id: link.id.clone(),
        at: now,
    };
    let of = link.farm_id.as_deref().map_or(Of::Server, Of::Farm);
    let note = Note::new(of, "used", "link", &link.id).with(json!({"for": link.kind.word()}));
    notes::note_deed_of(&mut tx, &behalf, note).await?;
    tx.commit().await?;
    Ok(Some(redeemed))
}
