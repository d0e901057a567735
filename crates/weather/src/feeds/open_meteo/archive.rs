//! The hours of past seasons, from reanalysis and from old forecasts of the
//! first hours.

use model::series::Reading;
use model::time::{DAY, Instant};

use super::answer::{self, hours, misplaced};
use super::{OpenMeteo, PROVIDER};
use crate::feeds::{Cause, CellRequest, FeedError, check};

/// Days of one call, the first and the last included. The provider counts each
/// two weeks of a variable as a tenth of a request.
pub const MOST_ARCHIVE_DAYS: i64 = 366;

impl OpenMeteo {
    /// Asks for the temperatures of a cell in the past, from `from` to `to`, both
    /// included, in at most [`MOST_ARCHIVE_DAYS`] days of UTC; what lies after
    /// `now`, the time of the fetch, is left out. They come by time, not yet
    /// checked, from 1940 on; the last five days may be lacking.
    ///
    /// # Errors
    /// As with [`crate::feeds::Feed::fetch`].
    pub async fn archive(
        &self,
        cell: &CellRequest,
        from: Instant,
        to: Instant,
        now: Instant,
    ) -> Result<Vec<Reading>, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        check::askable(std::slice::from_ref(cell), 1).map_err(failed)?;
        let within = span(from, to.min(now)).map_err(failed)?;
        let mut query = super::places(&[cell]);
        query.push(("hourly", "temperature_2m".to_owned()));
        query.push(("start_date", date(within.0)));
        query.push(("end_date", date(within.1)));
        let (body, _) = self.get(&self.archive_url, &query, 1, now).await?;
        read(&body, within).map_err(failed)
    }
}

/// The same stretch, if it can be asked for in one call.
fn span(from: Instant, to: Instant) -> Result<(Instant, Instant), Cause> {
    let ours = |at: Instant| (Instant::MIN..Instant::MAX).contains(&at);
    if !ours(from) || !ours(to) || from > to {
        return Err(Cause::Request(format!(
            "the archive from {from} to {to}: expected a begin that is over and an end after it"
        )));
    }
    let days = day(to) - day(from) + 1;
    if days > MOST_ARCHIVE_DAYS {
        return Err(Cause::Request(format!(
            "{days} days of the archive at once; at most {MOST_ARCHIVE_DAYS}"
        )));
    }
    Ok((from, to))
}

fn day(at: Instant) -> i64 {
    at.0.div_euclid(DAY)
}

fn date(at: Instant) -> String {
    at.utc().format("%Y-%m-%d").to_string()
}

/// Reads an answer of status 200 for the hours `within`; the provider answers
/// with whole days.
pub(super) fn read(body: &[u8], within: (Instant, Instant)) -> Result<Vec<Reading>, Cause> {
    let mut places = answer::places(body, 1)?;
    let place = places.pop().ok_or_else(|| Cause::Unfit("no place".to_owned()))?;
    let days = (Instant(day(within.0) * DAY), Instant((day(within.1) + 1) * DAY - 1));
    let (mut readings, _) = hours(place, days).map_err(misplaced(0))?;
    readings.retain(|reading| (within.0..=within.1).contains(&reading.at));
    Ok(readings)
}
