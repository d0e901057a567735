//! What changed since a place, for those who keep a copy.

use serde::Serialize;
use store::{Change, ChangeKey};
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::Paging;

/// That something changed: of each thing the latest change alone.
#[derive(Serialize, ToSchema)]
pub(crate) struct ChangeShown {
    /// `farm`, `site`, `block`, `season`, `alert`, `curve` or `material`. A site
    /// stands for its sources and readings too, a season for its plan and log.
    kind: String,
    id: String,
    /// Of a season or an alert.
    year: Option<i32>,
    /// Null where all see it.
    farm_id: Option<String>,
    /// Where it stands.
    resource: String,
}

/// A page of changes in order.
#[derive(Serialize, ToSchema)]
pub(crate) struct Changes {
    items: Vec<ChangeShown>,
    /// What to give as `after` for the page that follows; null where there is
    /// none yet.
    next: Option<String>,
    /// What to give as `after` when you come again, to go on from here.
    cursor: Option<String>,
}

/// What changed after a place, the earliest first; from the beginning without one.
#[utoipa::path(get, path = "/changes", tag = "changes", operation_id = "list-changes", params(Paging),
    responses((status = 200, body = Changes)))]
pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let span = query.page();
    query.finish()?;
    let after = span.after().map(read).transpose()?;
    let mut changes = desk.store.changes(after.as_ref(), span.limit + 1).await?;
    let more = changes.len() > span.limit as usize;
    changes.truncate(span.limit as usize);
    let place = changes.last().map(|last| span.cursor(&written(&last.key)));
    let next = place.clone().filter(|_| more);
    let cursor = place.or_else(|| after.as_ref().map(|key| span.cursor(&written(key))));
    let mut response =
        ok(Changes { items: changes.into_iter().map(shown).collect(), next: next.clone(), cursor })?;
    if let Some(next) = next {
        span.write_link(&next, response.headers_mut());
    }
    Ok(response)
}

fn written(key: &ChangeKey) -> String {
    format!("{}/{}/{}/{}", key.number, key.kind, key.year, key.subject)
}

fn read(place: &str) -> Result<ChangeKey, Problem> {
    let mut parts = place.splitn(4, '/');
    let mut key = || {
        let number = parts.next()?.parse().ok()?;
        let kind = parts.next()?.to_owned();
        let year = parts.next()?.parse().ok()?;
        Some(ChangeKey { number, kind, year, subject: parts.next()?.to_owned() })
    };
    key().ok_or_else(|| Problem::parameter("after", "is no place in the list of changes"))
}

fn shown(change: Change) -> ChangeShown {
    let ChangeKey { kind, subject, year, .. } = change.key;
    let resource = match kind.as_str() {
        "season" => format!("/api/v1/blocks/{subject}/seasons/{year}"),
        _ => format!("/api/v1/{kind}s/{subject}"),
    };
    ChangeShown { resource, id: subject, year: (year != 0).then_some(year), farm_id: change.farm_id, kind }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_reads_back() {
        let key = ChangeKey { number: 12, kind: "season".into(), subject: "a/b".into(), year: 2013 };
        assert_eq!(read(&written(&key)).unwrap(), key);
        assert!(read("12/season").is_err());
    }
}
