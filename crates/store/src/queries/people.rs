//! People and their roles.

use model::time::Instant;
use model::units::Units;

use serde_json::json;
use sqlx::QueryBuilder;

use super::notes::{self, Note};
use super::wall::{self, Of};
use super::{Connection, Db, Pools, dialect};
use crate::error::{changed, missing, naming};
use crate::read::{self, MembershipColumns, PersonColumns, columns};
use crate::rows::{Membership, Person, Role};
use crate::{Result, StoreError};

pub(super) async fn add(connection: &mut Connection, person: &Person) -> Result<()> {
    sqlx::query(
        "INSERT INTO person (id, email, name, password, operator, created_at) \
         VALUES ($1, $2, $3, $4, $5, $6)",
    )
    .bind(&person.id)
    .bind(&person.email)
    .bind(&person.name)
    .bind(&person.password)
    .bind(i64::from(person.operator))
    .bind(person.created_at.0)
    .execute(connection)
    .await
    .map_err(naming(format!("person `{}`, or their address,", person.id), "row that the person names"))?;
    Ok(())
}

pub(super) async fn by_email(connection: &mut Connection, email: &str) -> Result<Option<Person>> {
    let row: Option<PersonColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(person), " FROM person WHERE email = $1"))
            .bind(email)
            .fetch_optional(connection)
            .await?;
    row.map(read::person).transpose()
}

pub(crate) async fn person(db: &Pools, id: &str) -> Result<Option<Person>> {
    let row: Option<PersonColumns> =
        sqlx::query_as(concat!("SELECT ", columns!(person), " FROM person WHERE id = $1"))
            .bind(id)
            .fetch_optional(&mut *db.look().await?)
            .await?;
    row.map(read::person).transpose()
}

pub(crate) async fn person_by_email(db: &Pools, email: &str) -> Result<Option<Person>> {
    by_email(&mut *db.look().await?, email).await
}

pub(crate) async fn person_count(db: &Pools) -> Result<u64> {
    let count: i64 =
        sqlx::query_scalar("SELECT count(*) FROM person").fetch_one(&mut *db.look().await?).await?;
    Ok(count.unsigned_abs())
}

pub(crate) async fn people(db: &Pools, after: Option<&str>, limit: u32) -> Result<Vec<Person>> {
    let rows: Vec<PersonColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(person),
        " FROM person WHERE person.id > $1 ORDER BY person.id LIMIT $2"
    ))
    .bind(after.unwrap_or_default())
    .bind(i64::from(limit))
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::person).collect()
}

/// Refuses to leave the server without an operator.
async fn keep_an_operator(connection: &mut Connection, leaving: &str) -> Result<()> {
    // All of them are held: of two who leave at once one is the last.
    let mut query = QueryBuilder::<Db>::new("SELECT id FROM person WHERE operator <> 0 ORDER BY id");
    let operators: Vec<String> = query.push(dialect::LOCK).build_query_scalar().fetch_all(connection).await?;
    if operators.iter().any(|id| id != leaving) {
        return Ok(());
    }
    Err(StoreError::Refused("this is the last operator; make another person one first".into()))
}

pub(crate) async fn make_operator(db: &Pools, held: &Person, operator: bool) -> Result<()> {
    let mut tx = db.begin_people().await?;
    if !operator {
        keep_an_operator(&mut tx, &held.id).await?;
    }
    let done = sqlx::query("UPDATE person SET operator = $2 WHERE id = $1 AND operator = $3 AND email = $4")
        .bind(&held.id)
        .bind(i64::from(operator))
        .bind(i64::from(held.operator))
        .bind(&held.email)
        .execute(&mut *tx)
        .await?;
    if done.rows_affected() == 0 {
        return Err(changed("person", &held.id));
    }
    let deed = if operator { "made an operator" } else { "no operator any more" };
    notes::note_deed(&mut tx, db, Note::new(Of::Server, deed, "person", &held.id)).await?;
    tx.commit().await?;
    Ok(())
}

/// Gives a person another name and other units.
pub(crate) async fn change_person(db: &Pools, held: &Person, name: &str, units: Units) -> Result<()> {
    let mut tx = db.begin_people().await?;
    let mut query = QueryBuilder::<Db>::new("SELECT name FROM person WHERE id = ");
    query.push_bind(&held.id).push(dialect::LOCK);
    let now: Option<String> = query.build_query_scalar().fetch_optional(&mut *tx).await?;
    if now.ok_or_else(|| missing("person", &held.id))? != held.name {
        return Err(changed("person", &held.id));
    }
    sqlx::query("UPDATE person SET name = $2, units = $3 WHERE id = $1")
        .bind(&held.id)
        .bind(name)
        .bind(Some(units).filter(|units| *units != Units::Both).map(Units::word))
        .execute(&mut *tx)
        .await?;
    let deed = if name == held.name { "units changed" } else { "renamed" };
    notes::note_deed(&mut tx, db, Note::new(Of::Server, deed, "person", &held.id)).await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn memberships_of(db: &Pools, person_id: &str) -> Result<Vec<Membership>> {
    let rows: Vec<MembershipColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(membership),
        " FROM membership WHERE person_id = $1 ORDER BY farm_id"
    ))
    .bind(person_id)
    .fetch_all(&mut *db.look().await?)
    .await?;
    rows.into_iter().map(read::membership).collect()
}

pub(crate) async fn members_of(db: &Pools, farm_id: &str) -> Result<Vec<(Person, Membership)>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Farm(farm_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<MembershipColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(membership),
        " FROM membership WHERE farm_id = $1 ORDER BY person_id"
    ))
    .bind(farm_id)
    .fetch_all(&mut *tx)
    .await?;
    let people: Vec<PersonColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(person),
        " FROM person JOIN membership ON membership.person_id = person.id \
         WHERE membership.farm_id = $1 ORDER BY person.id"
    ))
    .bind(farm_id)
    .fetch_all(&mut *tx)
    .await?;
    let people = people.into_iter().map(read::person);
    people.zip(rows).map(|(person, row)| Ok((person?, read::membership(row)?))).collect()
}

/// Gives a role, in place of the one before.
pub(super) async fn give(
    connection: &mut Connection,
    person_id: &str,
    farm_id: &str,
    role: Role,
    at: Instant,
) -> Result<()> {
    sqlx::query(
        "INSERT INTO membership (person_id, farm_id, role, since) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (person_id, farm_id) DO UPDATE SET role = excluded.role, since = excluded.since \
         WHERE membership.role <> excluded.role",
    )
    .bind(person_id)
    .bind(farm_id)
    .bind(role.word())
    .bind(at.0)
    .execute(connection)
    .await
    .map_err(naming("role".into(), &format!("person `{person_id}` or farm `{farm_id}`")))?;
    Ok(())
}

/// The role as it now is; nobody else changes it until the transaction ends.
async fn locked(connection: &mut Connection, person_id: &str, farm_id: &str) -> Result<Option<Membership>> {
    let mut query = QueryBuilder::<Db>::new(concat!(
        "SELECT ",
        columns!(membership),
        " FROM membership WHERE person_id = "
    ));
    query.push_bind(person_id).push(" AND farm_id = ").push_bind(farm_id).push(dialect::LOCK);
    let row: Option<MembershipColumns> = query.build_query_as().fetch_optional(connection).await?;
    row.map(read::membership).transpose()
}

pub(crate) async fn set_role(
    db: &Pools,
    person_id: &str,
    farm_id: &str,
    held: Option<Role>,
    role: Role,
    at: Instant,
) -> Result<()> {
    let mut tx = db.begin_people().await?;
    wall::pass(&mut tx, db, Of::Farm(farm_id)).await?;
    let now = locked(&mut tx, person_id, farm_id).await?;
    if now.map(|now| now.role) != held {
        return Err(changed("role of person", person_id));
    }
    give(&mut tx, person_id, farm_id, role, at).await?;
    let detail = json!({"person": person_id, "role": role.word()});
    notes::note(&mut tx, db, Note::new(Of::Farm(farm_id), "role given", "farm", farm_id).with(detail))
        .await?;
    tx.commit().await?;
    Ok(())
}

pub(crate) async fn end_role(db: &Pools, held: &Membership) -> Result<()> {
    let Membership { person_id, farm_id, .. } = held;
    let mut tx = db.begin_people().await?;
    wall::pass(&mut tx, db, Of::Farm(farm_id)).await?;
    match locked(&mut tx, person_id, farm_id).await? {
        None => return Err(missing("role of person", person_id)),
        Some(now) if now != *held => return Err(changed("role of person", person_id)),
        Some(_) => {}
    }
    // Noted first: who leaves does not see the farm any more.
    let note = Note::new(Of::Farm(farm_id), "role ended", "farm", farm_id);
    notes::note(&mut tx, db, note.with(json!({"person": person_id}))).await?;
    sqlx::query("DELETE FROM membership WHERE person_id = $1 AND farm_id = $2")
        .bind(person_id)
        .bind(farm_id)
        .execute(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(())
}

/// What a person who was removed is called: their records stay under the role
/// that they had.
fn former(roles: &[Membership], operator: bool) -> &'static str {
    let has = |role| roles.iter().any(|one| one.role == role);
    match () {
        () if operator => "a former operator",
        () if has(Role::Advisor) => "a former advisor",
        () if has(Role::Grower) => "a former grower",
        () if has(Role::Consultant) => "a former consultant",
        () => "a former person",
    }
}

pub(crate) async fn remove_person(db: &Pools, held: &Person, at: Instant) -> Result<()> {
    let mut tx = db.begin_people().await?;
    let rows: Vec<MembershipColumns> = sqlx::query_as(concat!(
        "SELECT ",
        columns!(membership),
        " FROM membership WHERE person_id = $1 ORDER BY farm_id"
    ))
    .bind(&held.id)
    .fetch_all(&mut *tx)
    .await?;
    let roles: Vec<Membership> = rows.into_iter().map(read::membership).collect::<Result<_>>()?;
    if held.operator {
        keep_an_operator(&mut tx, &held.id).await?;
    }
    // Noted first: who is gone sees no farm any more.
    for role in &roles {
        let note = Note::new(Of::Farm(&role.farm_id), "role ended", "farm", &role.farm_id);
        notes::note(&mut tx, db, note.with(json!({"person": held.id}))).await?;
    }
    notes::note_deed(&mut tx, db, Note::new(Of::Server, "removed", "person", &held.id)).await?;
    let gone = sqlx::query(
        "UPDATE person SET name = $2, email = $3, password = NULL, operator = 0 WHERE id = $1 AND email = $4",
    )
    .bind(&held.id)
    .bind(former(&roles, held.operator))
    .bind(format!("{}@removed.invalid", held.id))
    .bind(&held.email)
    .execute(&mut *tx)
    .await?;
    if gone.rows_affected() == 0 {
        return Err(changed("person", &held.id));
    }
    sqlx::query(
        "UPDATE credential SET revoked_at = $2, name = 'removed' WHERE person_id = $1 AND revoked_at IS NULL",
    )
    .bind(&held.id)
    .bind(at.0)
    .execute(&mut *tx)
    .await?;
    sqlx::query("DELETE FROM membership WHERE person_id = $1").bind(&held.id).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(())
}
