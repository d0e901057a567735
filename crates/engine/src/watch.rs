//! The watched folder: station files that a logger, or whoever fetches from it,
//! puts there are taken as if they had been uploaded.
//!
//! Each source that comes by file may have a folder of its own in it, named by the
//! source's id. Files stay where they are. One that has grown is read again, and
//! what it held before is left as it is in the store, where someone may have
//! corrected it since. Links are not followed: a source's folder may belong to
//! people who must not see another's.

mod take;

use std::io;
use std::path::{Path, PathBuf};

use model::time::Instant;
use store::Way;
use weather::station_file::MAX_FILE_BYTES;

use crate::{Engine, PassError};

/// Files of one source that are looked at, the newest; a logger that starts one an
/// hour fills this in a year.
const MOST_FILES: usize = 10_000;
/// Endings under which files are still being copied.
const UNFINISHED: [&str; 4] = [".part", ".tmp", ".crdownload", "~"];

/// Takes what is new in the watched folder; gives how many readings were new or
/// corrected others.
///
/// # Errors
/// When the database fails. A file or folder that cannot be read is noted, and the
/// others go on.
pub async fn pass(engine: &Engine) -> Result<u64, PassError> {
    let Some(folder) = engine.station_files.clone() else { return Ok(0) };
    let seen = tokio::task::spawn_blocking(move || look(&folder)).await?;
    let mut stored = 0;
    for (id, files) in seen {
        match engine.store.source(&id).await? {
            Some(source) if source.way == Way::File => {
                // What one source's files do to the database holds up no other.
                let taken = take::take(engine, source, files).await;
                let taken = taken.inspect_err(|error| {
                    tracing::error!(source = id, %error, "a source's files could not be taken");
                });
                stored += taken.unwrap_or_default();
            }
            _ => tracing::debug!(folder = id, "is named by no source that comes by file"),
        }
    }
    Ok(stored)
}

/// A file as it is now.
struct Seen {
    path: PathBuf,
    name: String,
    size: u64,
    modified_at: Instant,
}

/// The folders of sources, with the files in them by name.
fn look(folder: &Path) -> Vec<(String, Vec<Seen>)> {
    let mut sources = Vec::new();
    for source in entries(folder) {
        let folder = source.file_type().is_ok_and(|kind| kind.is_dir());
        let (Ok(id), true) = (source.file_name().into_string(), folder) else { continue };
        let mut files: Vec<Seen> =
            entries(&source.path()).iter().filter_map(|file| file_seen(file.path())).collect();
        if files.len() > MOST_FILES {
            tracing::warn!(
                source = id,
                files = files.len(),
                MOST_FILES,
                "too many files: the oldest are passed over"
            );
            files.sort_by_key(|file| std::cmp::Reverse(file.modified_at));
            files.truncate(MOST_FILES);
        }
        files.sort_by(|a, b| a.name.cmp(&b.name));
        sources.push((id, files));
    }
    sources.sort_by(|a, b| a.0.cmp(&b.0));
    sources
}

fn entries(folder: &Path) -> Vec<std::fs::DirEntry> {
    let read = std::fs::read_dir(folder).and_then(Iterator::collect::<io::Result<Vec<_>>>);
    read.unwrap_or_else(|error| {
        tracing::warn!(folder = %folder.display(), %error, "a watched folder cannot be read");
        Vec::new()
    })
}

fn file_seen(path: PathBuf) -> Option<Seen> {
    let name = path.file_name()?.to_str()?.to_owned();
    let about = std::fs::symlink_metadata(&path).ok().filter(std::fs::Metadata::is_file)?;
    if name.starts_with('.') || UNFINISHED.iter().any(|ending| name.ends_with(ending)) {
        return None;
    }
    let since_1970 = about.modified().ok()?.duration_since(std::time::UNIX_EPOCH).ok()?;
    let modified_at = Instant(i64::try_from(since_1970.as_secs()).ok()?);
    Some(Seen { path, name, size: about.len(), modified_at })
}

impl Seen {
    /// Whether it is longer than any file that is read, packed or not.
    fn too_long(&self) -> bool {
        self.size > MAX_FILE_BYTES
    }
}
