//! What a reckoned season does to its alerts and their items, inside the
//! transaction that writes the season.

use model::time::Instant;
use serde_json::Value;
use sqlx::QueryBuilder;
use uuid::Uuid;

use super::{Connection, Db, dialect, load};
use crate::rows::{AlertRow, AlertStatus, AlertWrite};
use crate::{ROWS_A_STATEMENT, Result, text};

/// Why nobody was told of an alert that was taken back in time.
const TAKEN_BACK: &str = "taken back before it was sent";

/// Why a mail that came too late was kept back.
const OVER: &str = "its leg had ended before it could be sent";

/// The writes of one kind, each with what it needs.
#[derive(Default)]
struct Sorted<'a> {
    new: Vec<(&'a AlertRow, &'a [String])>,
    told: Vec<(&'a str, &'a Value, Instant, &'a [String])>,
    retimed: Vec<(&'a str, &'a Value, Instant)>,
    closed: Vec<(&'a str, Instant, &'a str)>,
    withdrawn: Vec<(&'a str, &'a AlertRow)>,
}

pub(super) async fn write(connection: &mut Connection, writes: &[&AlertWrite]) -> Result<()> {
    let mut sorted = Sorted::default();
    for write in writes {
        match write {
            AlertWrite::New { alert, recipients } => sorted.new.push((alert, recipients)),
            AlertWrite::Tell { alert_id, about, useful_until, recipients } => {
                sorted.told.push((alert_id, about, *useful_until, recipients));
            }
            AlertWrite::Retime { alert_id, about, useful_until } => {
                sorted.retimed.push((alert_id, about, *useful_until));
            }
            AlertWrite::Close { alert_id, at, reason } => sorted.closed.push((alert_id, *at, reason)),
            AlertWrite::Withdraw { alert_id, notice } => sorted.withdrawn.push((alert_id, notice)),
        }
    }
    let mut items: Vec<(&str, &str)> = Vec::new();
    for new in sorted.new.chunks(ROWS_A_STATEMENT) {
        let added = add(connection, new.iter().map(|(alert, _)| *alert)).await?;
        for (alert, recipients) in new {
            if alert.status == AlertStatus::Told && added.contains(&alert.id) {
                items.extend(recipients.iter().map(|to| (alert.id.as_str(), to.as_str())));
            }
        }
    }
    for told in sorted.told.chunks(ROWS_A_STATEMENT) {
        let now_told = tell(connection, told).await?;
        for (id, _, _, recipients) in told {
            if now_told.iter().any(|now_told| now_told == id) {
                items.extend(recipients.iter().map(|to| (*id, to.as_str())));
            }
        }
    }
    add_items(connection, &items).await?;
    for retimed in sorted.retimed.chunks(ROWS_A_STATEMENT) {
        unsend(connection, retimed.iter().map(|(id, ..)| *id)).await?;
        retime(connection, retimed).await?;
    }
    for closed in sorted.closed.chunks(ROWS_A_STATEMENT) {
        close(connection, closed).await?;
    }
    for withdrawn in sorted.withdrawn.chunks(ROWS_A_STATEMENT) {
        withdraw(connection, withdrawn).await?;
    }
    Ok(())
}

/// Adds alerts whose key is not there yet; gives the ids of those added.
async fn add(connection: &mut Connection, alerts: impl Iterator<Item = &AlertRow>) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "INSERT INTO alert (id, block_id, year, kind, subject, generation, status, reason, about, \
         raised_at, useful_until, withdrawn_at, acknowledged_at) ",
    );
    query.push_values(alerts, |mut row, alert| {
        row.push_bind(&alert.id)
            .push_bind(&alert.block_id)
            .push_bind(i64::from(alert.year))
            .push_bind(&alert.kind)
            .push_bind(&alert.subject)
            .push_bind(alert.generation)
            .push_bind(alert.status.word())
            .push_bind(&alert.reason)
            .push_bind(text::of(&alert.about))
            .push_bind(alert.raised_at.0)
            .push_bind(alert.useful_until.0)
            .push_bind(alert.withdrawn_at.map(|at| at.0))
            .push_bind(alert.acknowledged_at.map(|at| at.0));
    });
    query.push(" ON CONFLICT (block_id, year, kind, subject, generation) DO NOTHING RETURNING id");
    Ok(query.build_query_scalar().persistent(false).fetch_all(connection).await?)
}

/// Tells alerts that were skipped; gives the ids of those now told.
async fn tell(
    connection: &mut Connection,
    alerts: &[(&str, &Value, Instant, &[String])],
) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "UPDATE alert SET status = 'told', reason = NULL, about = given.column2, \
         useful_until = given.column3 FROM (",
    );
    query.push_values(alerts, |mut row, (id, about, useful_until, _)| {
        row.push_bind(*id).push_bind(text::of(about)).push_bind(useful_until.0);
    });
    query.push(
        ") AS given WHERE alert.id = given.column1 AND alert.status = 'skipped' \
         RETURNING alert.id",
    );
    Ok(query.build_query_scalar().persistent(false).fetch_all(connection).await?)
}

async fn retime(connection: &mut Connection, alerts: &[(&str, &Value, Instant)]) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new(
        "UPDATE alert SET about = given.column2, useful_until = given.column3 FROM (",
    );
    query.push_values(alerts, |mut row, (id, about, useful_until)| {
        row.push_bind(*id).push_bind(text::of(about)).push_bind(useful_until.0);
    });
    query.push(") AS given WHERE alert.id = given.column1");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

/// Those of some alerts who may have a mail of them, as alert and recipient.
/// What has not gone out is given up.
async fn keep_back(
    connection: &mut Connection,
    alerts: impl Iterator<Item = &str> + Clone,
    reason: &str,
) -> Result<Vec<(String, String)>> {
    unsend(connection, alerts.clone()).await?;
    let mut query = QueryBuilder::<Db>::new("UPDATE item SET unsent_because = ");
    query.push_bind(reason).push(" WHERE message_id IS NULL AND unsent_because IS NULL AND alert_id IN (");
    load::list(&mut query, alerts.clone());
    query.push(")").build().persistent(false).execute(&mut *connection).await?;
    let mut query = QueryBuilder::<Db>::new(
        "SELECT item.alert_id, item.recipient FROM item JOIN message ON message.id = item.message_id \
         WHERE (message.attempts > 0 OR message.sent_at IS NOT NULL) AND item.alert_id IN (",
    );
    load::list(&mut query, alerts);
    query.push(") ORDER BY item.alert_id, item.recipient");
    Ok(query.build_query_as().persistent(false).fetch_all(connection).await?)
}

/// Turns alerts that nobody was told of into skipped ones.
async fn skip(connection: &mut Connection, alerts: &[(&str, &str)]) -> Result<()> {
    if alerts.is_empty() {
        return Ok(());
    }
    let mut query =
        QueryBuilder::<Db>::new("UPDATE alert SET status = 'skipped', reason = given.column2 FROM (");
    query.push_values(alerts, |mut row, (id, reason)| {
        row.push_bind(*id).push_bind(*reason);
    });
    query.push(") AS given WHERE alert.id = given.column1 AND alert.status = 'told'");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

async fn close(connection: &mut Connection, alerts: &[(&str, Instant, &str)]) -> Result<()> {
    let mailed = keep_back(connection, alerts.iter().map(|(id, ..)| *id), OVER).await?;
    let untold: Vec<(&str, &str)> = alerts
        .iter()
        .filter(|(id, ..)| mailed.iter().all(|(mailed, _)| mailed != id))
        .map(|(id, _, reason)| (*id, *reason))
        .collect();
    skip(connection, &untold).await?;
    let mut query = QueryBuilder::<Db>::new("UPDATE alert SET useful_until = given.column2 FROM (");
    query.push_values(alerts, |mut row, (id, at, _)| {
        row.push_bind(*id).push_bind(at.0);
    });
    query.push(") AS given WHERE alert.id = given.column1 AND alert.useful_until > given.column2");
    query.build().persistent(false).execute(connection).await?;
    Ok(())
}

/// Takes alerts back from those who may have a mail of them. What no one has
/// was never told.
async fn withdraw(connection: &mut Connection, alerts: &[(&str, &AlertRow)]) -> Result<()> {
    let mailed = keep_back(connection, alerts.iter().map(|(id, _)| *id), TAKEN_BACK).await?;
    let (told, untold): (Vec<_>, Vec<_>) =
        alerts.iter().partition(|(id, _)| mailed.iter().any(|(mailed, _)| mailed == id));
    let untold: Vec<(&str, &str)> = untold.iter().map(|(id, _)| (*id, TAKEN_BACK)).collect();
    skip(connection, &untold).await?;
    if told.is_empty() {
        return Ok(());
    }
    let mut query = QueryBuilder::<Db>::new(
        "UPDATE alert SET withdrawn_at = given.column2, useful_until = given.column2 FROM (",
    );
    query.push_values(&told, |mut row, (id, notice)| {
        row.push_bind(*id).push_bind(notice.raised_at.0);
    });
    query.push(") AS given WHERE alert.id = given.column1 AND alert.withdrawn_at IS NULL");
    query.build().persistent(false).execute(&mut *connection).await?;
    let added = add(connection, told.iter().map(|(_, notice)| *notice)).await?;
    let items: Vec<(&str, &str)> = told
        .iter()
        .filter(|(_, notice)| added.contains(&notice.id))
        .flat_map(|(id, notice)| {
            let to = mailed.iter().filter(move |(mailed, _)| mailed == id);
            to.map(|(_, recipient)| (notice.id.as_str(), recipient.as_str()))
        })
        .collect();
    add_items(connection, &items).await
}

/// Forgets mails of alerts that no server was offered yet; their items wait to
/// be composed again. The items are locked first, in one order for all, so that
/// none is composed or offered meanwhile.
async fn unsend(connection: &mut Connection, alerts: impl Iterator<Item = &str> + Clone) -> Result<()> {
    let mut query = QueryBuilder::<Db>::new("SELECT id FROM item WHERE alert_id IN (");
    load::list(&mut query, alerts.clone());
    query.push(") ORDER BY id").push(dialect::LOCK);
    query.build().persistent(false).execute(&mut *connection).await?;

    let mut query = QueryBuilder::<Db>::new(
        "SELECT message.id FROM message WHERE message.state = 'ready' AND message.attempts = 0 \
         AND message.id IN (SELECT message_id FROM item WHERE alert_id IN (",
    );
    load::list(&mut query, alerts);
    query.push(")) ORDER BY message.id").push(dialect::LOCK);
    let unsent: Vec<String> =
        query.build_query_scalar().persistent(false).fetch_all(&mut *connection).await?;
    for unsent in unsent.chunks(ROWS_A_STATEMENT) {
        let named = |statement: &'static str| {
            let mut query = QueryBuilder::<Db>::new(statement);
            load::list(&mut query, unsent.iter().map(String::as_str));
            query.push(")");
            query
        };
        let mut detach = named("UPDATE item SET message_id = NULL WHERE message_id IN (");
        detach.build().persistent(false).execute(&mut *connection).await?;
        let mut delete = named("DELETE FROM message WHERE id IN (");
        delete.build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Adds items of alert and recipient; one that is there already stays, and
/// waits to be composed when it had been given up.
async fn add_items(connection: &mut Connection, items: &[(&str, &str)]) -> Result<()> {
    for items in items.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new("INSERT INTO item (id, alert_id, recipient) ");
        query.push_values(items, |mut row, (alert_id, recipient)| {
            row.push_bind(item_id(alert_id, recipient)).push_bind(*alert_id).push_bind(*recipient);
        });
        query.push(" ON CONFLICT (alert_id, recipient) DO UPDATE SET unsent_because = NULL");
        query.build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

/// The same alert and recipient always make the same item.
fn item_id(alert_id: &str, recipient: &str) -> String {
    let name = format!("{alert_id} {recipient}");
    Uuid::new_v5(&Uuid::NAMESPACE_OID, name.as_bytes()).to_string()
}
