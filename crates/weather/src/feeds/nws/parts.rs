//! The two parts of an answer, of which one may fail.

use model::series::Forecast;
use model::time::Instant;

use super::grid::Foretold;
use super::memory::Memory;
use super::observations::Observed;
use crate::feeds::{Cause, CellAnswer, CellRequest, FeedError, Retry};

/// What came of the two parts of a cell.
pub(super) struct Parts {
    /// None within when there is no newer forecast.
    pub foretold: Result<Option<Foretold>, FeedError>,
    pub observed: Result<Observed, FeedError>,
    /// Already moved on by what was read.
    pub memory: Memory,
}

impl Parts {
    /// Whether the square or the station is not there any more.
    pub(super) fn gone(&self) -> bool {
        self.foretold.as_ref().is_err_and(is_gone) || self.observed.as_ref().is_err_and(is_gone)
    }

    /// What came; when nothing did, the error of the part that wants the longer pause.
    pub(super) fn joined(self, cell: &CellRequest) -> Result<CellAnswer, FeedError> {
        let mut answer = CellAnswer { memory: self.memory.write(), ..CellAnswer::of(cell) };
        let mut errors = Vec::new();
        match self.observed {
            Ok(observed) => {
                answer.air = observed.whole_air();
                answer.readings = observed.readings.into_values().collect();
            }
            Err(error) => errors.push(error),
        }
        match self.foretold {
            Ok(Some(foretold)) => {
                // All of it lies after the last observation.
                answer.air.extend(foretold.air);
                answer.forecast = Some(Forecast { issued_at: foretold.issued_at, hours: foretold.hours });
            }
            Ok(None) => {}
            Err(error) => errors.push(error),
        }
        let nothing = answer.readings.is_empty() && answer.air.is_empty() && answer.forecast.is_none();
        let error = errors.into_iter().max_by_key(pause_end);
        match error {
            Some(error) if nothing => Err(error),
            Some(error) => Ok(CellAnswer { not_before: Some(pause_end(&error)), ..answer }),
            None => Ok(answer),
        }
    }
}

/// Whether what was asked for does not exist.
pub(super) fn is_gone(error: &FeedError) -> bool {
    matches!(error.cause, Cause::Refused { status: 404 | 410, .. })
}

fn pause_end(error: &FeedError) -> Instant {
    match error.retry {
        Retry::At(at) => at,
        Retry::Never => Instant::MAX,
    }
}
