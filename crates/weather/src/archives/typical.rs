//! What TMY3 and EPW have in common: hours that end, in local standard time.

use super::calendar::Written;
use super::fault::ArchiveFault;
use super::stations::same;
use super::{Options, Station};
use crate::station_file::{Listed, shown};

/// Offsets from UTC reach from −12 to +14 hours.
const OFFSETS: std::ops::RangeInclusive<f64> = -12.0..=14.0;

/// The clock of a file, and the year its rows are put in.
#[derive(Debug)]
pub(super) struct LocalStandard {
    /// Seconds east of UTC.
    offset: i64,
    year: Option<i64>,
}

impl LocalStandard {
    /// Reads the header's offset in hours.
    pub(super) fn of(hours: &str, options: &Options) -> Result<LocalStandard, ArchiveFault> {
        match hours.trim().parse::<f64>() {
            Ok(hours) if OFFSETS.contains(&hours) => Ok(LocalStandard {
                offset: (hours * 3_600.0).round() as i64,
                year: options.year.map(i64::from),
            }),
            _ => Err(ArchiveFault::Offset { found: shown(hours.as_bytes()) }),
        }
    }

    /// Seconds since 1970 in UTC; hour 24 of 31 December is the first moment of
    /// the year after.
    pub(super) fn moment(&self, written: Written) -> Result<i64, String> {
        let Written { year, month, day, hour, minute, .. } = written;
        let year = self.year.unwrap_or(year);
        Written { year, ..written }.seconds().map(|local| local - self.offset).ok_or_else(|| {
            format!(
                "{year}-{month:02}-{day:02}, hour {hour}, minute {minute} is no time; expected hours 1 to 24"
            )
        })
    }
}

/// The station of the header, if it is the one wanted.
pub(super) fn station(id: &str, name: &str, options: &Options) -> Result<Station, ArchiveFault> {
    let station = Station {
        id: shown(id.as_bytes()),
        name: (!name.trim().is_empty()).then(|| shown(name.trim().as_bytes())),
    };
    match &options.station {
        Some(wanted) if !same(wanted.as_bytes(), id.as_bytes()) => {
            let mut found = Listed::default();
            found.add(id.as_bytes());
            Err(ArchiveFault::NoSuchStation { wanted: wanted.clone(), found })
        }
        _ => Ok(station),
    }
}
