//! What has been taken of a file's rows.

use model::series::Reading;
use model::time::{FUTURE_TOLERANCE, Instant};
use model::units::{COLDEST_C, WARMEST_C};

use super::Archive;
use super::fault::ArchiveFault;
use super::row::{Report, Row};
use crate::station_file::{FileFault, Limit, MAX_REFUSED_KEPT, MAX_ROWS, Refused, Rows, StationFile};

/// The readings so far.
pub(super) struct Taken {
    archive: Archive,
    now: Instant,
    /// Each with its rank among reports of the same moment.
    readings: Vec<(Reading, u8)>,
    refused: Vec<Refused>,
    rows: Rows,
    /// Temperatures that no orchard has.
    outside: u64,
    numbers: u64,
}

impl Taken {
    pub(super) fn new(archive: Archive, now: Instant) -> Taken {
        Taken {
            archive,
            now,
            readings: Vec::new(),
            refused: Vec::new(),
            rows: Rows::default(),
            outside: 0,
            numbers: 0,
        }
    }

    /// Takes one row in.
    pub(super) fn row(&mut self, line: u64, row: Row) -> Result<(), FileFault> {
        if matches!(row, Row::Nothing) {
            return Ok(());
        }
        self.rows.seen += 1;
        if self.rows.seen > MAX_ROWS {
            return Err(FileFault::TooLarge { line, limit: Limit::Rows });
        }
        match row {
            Row::Report(report) => {
                if let Err(reason) = self.report(&report) {
                    self.refuse(line, reason);
                }
            }
            Row::Missing => self.rows.missing += 1,
            Row::Filtered => self.rows.filtered += 1,
            Row::Refused(reason) => self.refuse(line, reason),
            Row::Nothing => {}
        }
        Ok(())
    }

    fn report(&mut self, report: &Report) -> Result<(), String> {
        self.numbers += 1;
        let celsius = report.celsius;
        if !(COLDEST_C..=WARMEST_C).contains(&celsius) {
            self.outside += 1;
            return Err(format!("temperature of {celsius:.1} °C, outside {COLDEST_C} to {WARMEST_C} °C"));
        }
        let at = Instant(report.at);
        if !(Instant::MIN..Instant::MAX).contains(&at) {
            return Err(format!("time {at} lies outside the years 1900 to 2199"));
        }
        if at > self.now.plus(FUTURE_TOLERANCE) {
            let minutes = FUTURE_TOLERANCE / 60;
            return Err(format!(
                "lies in the future: {at} is more than {minutes} minutes after {}",
                self.now
            ));
        }
        // A report that may be used goes before any that failed.
        let rank = report.rank.min(127) + if report.flag.usable() { 128 } else { 0 };
        self.readings.push((Reading { at, span: 0, celsius, flag: report.flag }, rank));
        Ok(())
    }

    fn refuse(&mut self, line: u64, reason: String) {
        self.rows.refused += 1;
        if self.refused.len() < MAX_REFUSED_KEPT {
            self.refused.push(Refused { line, reason });
        }
    }

    /// Checks the file as a whole and gives its readings out.
    pub(super) fn finish(self, column: &'static str) -> Result<StationFile, FileFault> {
        let Taken { archive, mut readings, refused, mut rows, outside, numbers, .. } = self;
        if rows.seen == 0 {
            // ISD-Lite has no header that could stand alone.
            return Err(if archive == Archive::IsdLite { FileFault::Empty } else { FileFault::NoRows });
        }
        if outside * 2 > numbers {
            let archive = archive.word();
            return Err(ArchiveFault::Implausible { archive, column, outside, numbers }.into());
        }
        let key = |(reading, rank): &(Reading, u8)| (reading.at, *rank);
        if !readings.is_sorted_by_key(key) {
            // Stable, so that of equal reports the later line stays last.
            readings.sort_by_key(key);
        }
        let read = readings.len();
        readings.dedup_by(|later, kept| {
            let same = later.0.at == kept.0.at;
            if same {
                *kept = *later;
            }
            same
        });
        let readings: Vec<Reading> = readings.into_iter().map(|(reading, _)| reading).collect();
        rows.taken = readings.len() as u64;
        rows.superseded = (read - readings.len()) as u64;
        Ok(StationFile {
            first: readings.first().map(|reading| reading.at),
            last: readings.last().map(|reading| reading.at),
            readings,
            refused,
            rows,
        })
    }
}
