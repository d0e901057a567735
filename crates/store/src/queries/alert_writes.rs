//! What a reckoned season does to its alerts and their items, inside the
//! transaction that writes the season.

use model::time::Instant;
use serde_json::Value;
use sqlx::QueryBuilder;
use uuid::Uuid;

use super::{Connection, Db, dialect, hook_calls, journal, load};
use crate::rows::{Addressed, AlertRow, AlertStatus, AlertWrite};
use crate::{ROWS_A_STATEMENT, Result, text};

/// Why nobody was told of an alert that was taken back in time.
const TAKEN_BACK: &str = "taken back before it was sent";

/// Why a mail that came too late was kept back.
const OVER: &str = "its leg had ended before it could be sent";

/// An alert that is told after all.
struct Told<'a> {
    id: &'a str,
    about: &'a Value,
    useful_until: Instant,
    reason: &'a str,
    to: &'a [Addressed],
}

/// Why someone is told that an alert is taken back.
const HAD_IT: &str = "they may have the mail that is taken back";

/// The writes of one kind, each with what it needs.
#[derive(Default)]
struct Sorted<'a> {
    new: Vec<(&'a AlertRow, &'a [Addressed])>,
    told: Vec<Told<'a>>,
    retimed: Vec<(&'a str, &'a Value, Instant)>,
    closed: Vec<(&'a str, Instant, &'a str)>,
    withdrawn: Vec<(&'a str, &'a AlertRow)>,
}

pub(super) async fn write(connection: &mut Connection, writes: &[&AlertWrite]) -> Result<()> {
    let mut sorted = Sorted::default();
    for write in writes {
        match write {
            AlertWrite::New { alert, to } => sorted.new.push((alert, to)),
            AlertWrite::Tell { alert_id, about, useful_until, reason, to } => {
                sorted.told.push(Told { id: alert_id, about, useful_until: *useful_until, reason, to });
            }
            AlertWrite::Retime { alert_id, about, useful_until } => {
                sorted.retimed.push((alert_id, about, *useful_until));
            }
            AlertWrite::Close { alert_id, at, reason } => sorted.closed.push((alert_id, *at, reason)),
            AlertWrite::Withdraw { alert_id, notice } => sorted.withdrawn.push((alert_id, notice)),
        }
    }
    let mut items: Vec<(&str, &Addressed)> = Vec::new();
    let mut called: Vec<&str> = Vec::new();
    for new in sorted.new.chunks(ROWS_A_STATEMENT) {
        let added = add(connection, new.iter().map(|(alert, _)| *alert)).await?;
        for (alert, to) in new {
            if alert.status == AlertStatus::Told && added.contains(&alert.id) {
                items.extend(to.iter().map(|to| (alert.id.as_str(), to)));
                called.push(&alert.id);
            }
        }
    }
    for told in sorted.told.chunks(ROWS_A_STATEMENT) {
        let now_told = tell(connection, told).await?;
        for told in told {
            if now_told.iter().any(|now_told| now_told == told.id) {
                items.extend(told.to.iter().map(|to| (told.id, to)));
                called.push(told.id);
            }
        }
    }
    add_items(connection, &items).await?;
    hook_calls::add(connection, &called).await?;
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
async fn tell(connection: &mut Connection, alerts: &[Told<'_>]) -> Result<Vec<String>> {
    let mut query = QueryBuilder::<Db>::new(
        "UPDATE alert SET status = 'told', reason = given.column4, about = given.column2, \
         useful_until = given.column3 FROM (",
    );
    query.push_values(alerts, |mut row, told| {
        row.push_bind(told.id)
            .push_bind(text::of(told.about))
            .push_bind(told.useful_until.0)
            .push_bind(told.reason);
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
    load::list(&mut query, alerts.clone());
    query.push(") UNION SELECT alert_id, recipient FROM item WHERE unsent_because = ");
    query.push_bind(journal::BY_THE_JOURNAL).push(" AND alert_id IN (");
    load::list(&mut query, alerts);
    query.push(") ORDER BY 1, 2");
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
    let at = alerts.iter().map(|(_, at, _)| *at).max();
    let called = hook_calls::keep_back(connection, alerts.iter().map(|(id, ..)| *id), OVER, at).await?;
    let untold: Vec<(&str, &str)> = alerts
        .iter()
        .filter(|(id, ..)| mailed.iter().all(|(mailed, _)| mailed != id))
        .filter(|(id, ..)| called.iter().all(|called| called != id))
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

/// Takes alerts back from those who may have a mail or a call of them. What no one
/// has was never told.
async fn withdraw(connection: &mut Connection, alerts: &[(&str, &AlertRow)]) -> Result<()> {
    let mailed = keep_back(connection, alerts.iter().map(|(id, _)| *id), TAKEN_BACK).await?;
    let at = alerts.iter().map(|(_, notice)| notice.raised_at).max();
    let called = hook_calls::keep_back(connection, alerts.iter().map(|(id, _)| *id), TAKEN_BACK, at).await?;
    let (told, untold): (Vec<_>, Vec<_>) = alerts.iter().partition(|(id, _)| {
        mailed.iter().any(|(mailed, _)| mailed == id) || called.iter().any(|called| called == id)
    });
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
    let items: Vec<(&str, Addressed)> = told
        .iter()
        .filter(|(_, notice)| added.contains(&notice.id))
        .flat_map(|(id, notice)| {
            let to = mailed.iter().filter(move |(mailed, _)| mailed == id);
            to.map(|(_, recipient)| (notice.id.as_str(), Addressed::sent(recipient, HAD_IT)))
        })
        .collect();
    let items: Vec<(&str, &Addressed)> = items.iter().map(|(id, to)| (*id, to)).collect();
    add_items(connection, &items).await?;
    let notices: Vec<(&str, &str)> = told
        .iter()
        .filter(|(_, notice)| added.contains(&notice.id))
        .map(|(id, notice)| (*id, notice.id.as_str()))
        .collect();
    hook_calls::take_back(connection, &notices).await
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
async fn add_items(connection: &mut Connection, items: &[(&str, &Addressed)]) -> Result<()> {
    let again = " ON CONFLICT (alert_id, recipient) DO UPDATE SET unsent_because = excluded.unsent_because, \
                 because = excluded.because, hold_until = excluded.hold_until";
    put_items(connection, items, again).await
}

/// The same for those who stand in: one that was left unsent goes out after all, any
/// other stays as it is.
pub(super) async fn add_new_items(connection: &mut Connection, items: &[(&str, &Addressed)]) -> Result<()> {
    let again = " ON CONFLICT (alert_id, recipient) DO UPDATE SET unsent_because = excluded.unsent_because, \
                 because = excluded.because WHERE item.message_id IS NULL AND item.unsent_because IS NOT NULL";
    put_items(connection, items, again).await
}

async fn put_items(
    connection: &mut Connection,
    items: &[(&str, &Addressed)],
    again: &'static str,
) -> Result<()> {
    for items in items.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO item (id, alert_id, recipient, because, hold_until, unsent_because) ",
        );
        query.push_values(items, |mut row, (alert_id, to)| {
            row.push_bind(item_id(alert_id, &to.recipient))
                .push_bind(*alert_id)
                .push_bind(&to.recipient)
                .push_bind(&to.because)
                .push_bind(to.hold_until.map(|at| at.0))
                .push_bind(to.skipped.then_some(&to.because));
        });
        query.push(again);
        query.build().persistent(false).execute(&mut *connection).await?;
    }
    let alerts: Vec<&str> = items.iter().map(|(alert_id, _)| *alert_id).collect();
    journal::leave_out(connection, &alerts).await
}

/// The same alert and recipient always make the same item.
fn item_id(alert_id: &str, recipient: &str) -> String {
    let name = format!("{alert_id} {recipient}");
    Uuid::new_v5(&Uuid::NAMESPACE_OID, name.as_bytes()).to_string()
}
