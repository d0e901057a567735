//! Secret addresses of calendars: programs that show calendars sign in nowhere, so
//! the address itself is what lets them read. It reads one farm's plan and no more,
//! and each reader has one of their own, which is revoked alone.

use model::time::Instant;
use store::{Calendar, Store, StoreError};

use crate::secret::{Use, hash, is_formed, new_secret};
use crate::token::{MakeError, new_id};

/// Makes a calendar of a farm, for who or what `name` says, and gives it with its
/// secret, which cannot be had again.
///
/// # Errors
/// [`MakeError`]; not found when the farm is not there.
pub async fn new_calendar(
    store: &Store,
    farm_id: &str,
    name: &str,
    made_by: Option<&str>,
    now: Instant,
) -> Result<(Calendar, String), MakeError> {
    let secret = new_secret(Use::Calendar)?;
    let calendar = Calendar {
        id: new_id(now)?,
        farm_id: farm_id.to_owned(),
        name: name.to_owned(),
        hash: hash(&secret),
        made_by: made_by.map(str::to_owned),
        created_at: now,
        last_read_at: None,
        revoked_at: None,
    };
    store.add_calendar(&calendar).await?;
    Ok((calendar, secret))
}

/// The calendar of a secret, while it holds.
///
/// # Errors
/// When the database fails.
pub async fn calendar_of(store: &Store, secret: &str) -> Result<Option<Calendar>, StoreError> {
    if !is_formed(Use::Calendar, secret) {
        return Ok(None);
    }
    store.calendar_by_hash(&hash(secret)).await
}
