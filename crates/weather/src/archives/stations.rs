//! Which station the rows are of, in formats whose rows say it.

use super::Station;
use super::fault::ArchiveFault;
use crate::station_file::Listed;

/// The stations met in a file.
pub(super) struct Stations {
    wanted: Option<String>,
    /// The id met last, and whether its rows are kept.
    last: Option<(Vec<u8>, bool)>,
    found: Listed,
    /// The station whose rows are kept.
    kept: Option<Vec<u8>>,
    several: bool,
}

impl Stations {
    pub(super) fn new(wanted: Option<&String>) -> Stations {
        Stations { wanted: wanted.cloned(), last: None, found: Listed::default(), kept: None, several: false }
    }

    /// Whether rows of that station are kept.
    #[inline]
    pub(super) fn keeps(&mut self, id: &[u8]) -> bool {
        match &self.last {
            Some((last, kept)) if last == id => *kept,
            _ => self.meet(id),
        }
    }

    fn meet(&mut self, id: &[u8]) -> bool {
        let kept = self.wanted.as_ref().is_none_or(|wanted| same(wanted.as_bytes(), id));
        self.found.add(id);
        if kept {
            match &self.kept {
                None => self.kept = Some(id.to_owned()),
                Some(first) => self.several |= !same(first, id),
            }
        }
        self.last = Some((id.to_owned(), kept));
        kept
    }

    /// The station of the rows kept.
    pub(super) fn only(self, name: Option<String>) -> Result<Option<Station>, ArchiveFault> {
        if self.several {
            return Err(ArchiveFault::SeveralStations { found: self.found });
        }
        match (self.kept, self.wanted) {
            (Some(id), _) => Ok(Some(Station { id: String::from_utf8_lossy(&id).into_owned(), name })),
            (None, Some(wanted)) if self.last.is_some() => {
                Err(ArchiveFault::NoSuchStation { wanted, found: self.found })
            }
            (None, _) => Ok(None),
        }
    }
}

/// Whether two ids are the same station: DWD writes numbers with leading zeros
/// in some places and blanks in others.
pub(super) fn same(one: &[u8], other: &[u8]) -> bool {
    let bare = |id: &[u8]| {
        let id = id.trim_ascii();
        let zeros = id.iter().take_while(|byte| **byte == b'0').count();
        id[zeros..].to_ascii_uppercase()
    };
    bare(one) == bare(other)
}
