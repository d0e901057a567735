//! The first wall between farms: whether the person on whose behalf the store
//! is asked sees a farm and what belongs to it. Lists carry the same condition
//! in their own statement (`seen_by!`). On Postgres the database itself holds
//! a second one, in `migrations/after/postgres.sql`.

use sqlx::QueryBuilder;

use super::{Connection, Db, Pools, load};
use crate::error::missing;
use crate::{ROWS_A_STATEMENT, Result, StoreError};

/// What belongs to a farm, each by its id.
#[derive(Debug, Clone, Copy)]
pub(super) enum Of<'a> {
    /// The farm itself.
    Farm(&'a str),
    /// A site, of a farm or of the server.
    Site(&'a str),
    /// A source of a site.
    Source(&'a str),
    /// A block.
    Block(&'a str),
    /// An alert of a block.
    Alert(&'a str),
    /// The server: what belongs to no farm.
    Server,
}

/// The farms of the person bound as `$1`.
macro_rules! theirs {
    () => {
        " IN (SELECT membership.farm_id FROM membership WHERE membership.person_id = $1)"
    };
}

/// Pushes that a farm is one of the person's.
pub(super) fn seen_by(query: &mut QueryBuilder<Db>, person: &str, farm: &str) {
    query.push(farm).push(" IN (SELECT membership.farm_id FROM membership WHERE membership.person_id = ");
    query.push_bind(person).push(")");
}

/// Whether the person sees it. The house itself sees all.
pub(super) async fn sees(connection: &mut Connection, db: &Pools, of: Of<'_>) -> Result<bool> {
    let Some(person) = db.person() else { return Ok(true) };
    let (sql, id) = match of {
        Of::Server => return Ok(true),
        Of::Farm(id) => (concat!("SELECT count(*) FROM farm WHERE id = $2 AND id", theirs!()), id),
        Of::Site(id) => (
            concat!(
                "SELECT count(*) FROM site WHERE id = $2 AND (farm_id IS NULL OR farm_id",
                theirs!(),
                ")"
            ),
            id,
        ),
        Of::Source(id) => (
            concat!(
                "SELECT count(*) FROM source JOIN site ON site.id = source.site_id WHERE source.id = $2 \
                 AND (site.farm_id IS NULL OR site.farm_id",
                theirs!(),
                ")"
            ),
            id,
        ),
        Of::Block(id) => (concat!("SELECT count(*) FROM block WHERE id = $2 AND farm_id", theirs!()), id),
        Of::Alert(id) => (
            concat!(
                "SELECT count(*) FROM alert JOIN block ON block.id = alert.block_id WHERE alert.id = $2 \
                 AND block.farm_id",
                theirs!()
            ),
            id,
        ),
    };
    let found: i64 = sqlx::query_scalar(sql).bind(person).bind(id).fetch_one(connection).await?;
    Ok(found > 0)
}

/// Lets something be written on someone's behalf: they see it, and it is neither
/// closed nor archived. What feeds bring goes in all the same.
pub(super) async fn pass(connection: &mut Connection, db: &Pools, of: Of<'_>) -> Result<()> {
    must_see(connection, db, of).await?;
    if db.behalf().is_none() {
        return Ok(());
    }
    let (sql, id) = match of {
        Of::Server => return Ok(()),
        Of::Farm(id) => ("SELECT closed_at, NULL FROM farm WHERE id = $1", id),
        Of::Site(id) => (
            "SELECT farm.closed_at, NULL FROM site JOIN farm ON farm.id = site.farm_id WHERE site.id = $1",
            id,
        ),
        Of::Source(id) => (
            "SELECT farm.closed_at, NULL FROM source JOIN site ON site.id = source.site_id \
             JOIN farm ON farm.id = site.farm_id WHERE source.id = $1",
            id,
        ),
        Of::Block(id) => (
            "SELECT farm.closed_at, block.archived_at FROM block JOIN farm ON farm.id = block.farm_id \
             WHERE block.id = $1",
            id,
        ),
        Of::Alert(id) => (
            "SELECT farm.closed_at, block.archived_at FROM alert JOIN block ON block.id = alert.block_id \
             JOIN farm ON farm.id = block.farm_id WHERE alert.id = $1",
            id,
        ),
    };
    let found: Option<(Option<i64>, Option<i64>)> =
        sqlx::query_as(sql).bind(id).fetch_optional(connection).await?;
    match found {
        Some((Some(_), _)) => Err(StoreError::Closed { what: FARM_CLOSED }),
        Some((_, Some(_))) => Err(StoreError::Closed { what: ARCHIVED }),
        _ => Ok(()),
    }
}

/// How a block stands for someone who sees it.
#[derive(Debug)]
pub(super) struct Standing {
    pub(super) farm_id: String,
    farm_closed: bool,
    archived: bool,
}

impl Standing {
    /// Lets something be written.
    pub(super) fn open(&self) -> Result<()> {
        match (self.farm_closed, self.archived) {
            (true, _) => Err(StoreError::Closed { what: FARM_CLOSED }),
            (_, true) => Err(StoreError::Closed { what: ARCHIVED }),
            _ => Ok(()),
        }
    }
}

const FARM_CLOSED: &str = "the farm is closed";
const ARCHIVED: &str = "the block is archived";

/// Those of some blocks that a person sees, by their ids; without one all that
/// are there.
pub(super) async fn blocks<'a>(
    connection: &mut Connection,
    viewer: Option<&str>,
    ids: impl IntoIterator<Item = &'a str>,
) -> Result<Vec<(String, Standing)>> {
    let ids: Vec<&str> = ids.into_iter().collect();
    let mut all = Vec::with_capacity(ids.len());
    for ids in ids.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "SELECT block.id, block.farm_id, farm.closed_at, block.archived_at FROM block \
             JOIN farm ON farm.id = block.farm_id WHERE ",
        );
        if let Some(viewer) = viewer {
            seen_by(&mut query, viewer, "block.farm_id");
            query.push(" AND ");
        }
        query.push("block.id IN (");
        load::list(&mut query, ids.iter().copied());
        let rows: Vec<(String, String, Option<i64>, Option<i64>)> =
            query.push(")").build_query_as().persistent(ids.len() == 1).fetch_all(&mut *connection).await?;
        all.extend(rows.into_iter().map(|(id, farm_id, closed, archived)| {
            (id, Standing { farm_id, farm_closed: closed.is_some(), archived: archived.is_some() })
        }));
    }
    Ok(all)
}

/// The same as [`sees`], as the error that it is not there.
pub(super) async fn must_see(connection: &mut Connection, db: &Pools, of: Of<'_>) -> Result<()> {
    if sees(connection, db, of).await? {
        return Ok(());
    }
    Err(match of {
        Of::Farm(id) => missing("farm", id),
        Of::Site(id) => missing("site", id),
        Of::Source(id) => missing("source", id),
        Of::Block(id) => missing("block", id),
        Of::Alert(id) => missing("alert", id),
        Of::Server => missing("server", ""),
    })
}

/// The farm that it belongs to; none where it is the server's, or not there.
pub(super) async fn farm_of(connection: &mut Connection, of: Of<'_>) -> Result<Option<String>> {
    let (sql, id) = match of {
        Of::Server => return Ok(None),
        Of::Farm(id) => return Ok(Some(id.to_owned())),
        Of::Site(id) => ("SELECT farm_id FROM site WHERE id = $1", id),
        Of::Source(id) => {
            ("SELECT site.farm_id FROM source JOIN site ON site.id = source.site_id WHERE source.id = $1", id)
        }
        Of::Block(id) => ("SELECT farm_id FROM block WHERE id = $1", id),
        Of::Alert(id) => (
            "SELECT block.farm_id FROM alert JOIN block ON block.id = alert.block_id WHERE alert.id = $1",
            id,
        ),
    };
    let found: Option<Option<String>> = sqlx::query_scalar(sql).bind(id).fetch_optional(connection).await?;
    Ok(found.flatten())
}
