//! The watched folder: station files that a logger, or whoever fetches from it,
//! puts there are taken as if they had been uploaded.
//!
//! Each source that comes by file may have a folder of its own in it, named by the
//! source's id. Files stay where they are, and one that has grown is read again:
//! what it held before changes nothing.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use model::input;
use model::time::{Instant, MINUTE, zone};
use serde_json::{Value, json};
use store::{Source, TakenFile, Way};
use weather::layout::{self, Layout};
use weather::station_file::StationFile;

use crate::{Engine, PassError};

/// A file is read once it has been seen unchanged for so long: half a row is
/// another reading.
const REST: i64 = MINUTE / 6;
/// Files of one source that are looked at; a logger that starts one a day fills
/// this in a quarter of a century.
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
            Some(source) if source.way == Way::File => stored += take(engine, source, files).await?,
            Some(_) => tracing::warn!(source = id, "does not come by file: its folder is passed over"),
            None => tracing::warn!(source = id, "a watched folder is named by no source's id"),
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
    let entries = |folder: &Path| -> Vec<_> {
        let read = std::fs::read_dir(folder).and_then(Iterator::collect::<io::Result<Vec<_>>>);
        read.unwrap_or_else(|error| {
            tracing::warn!(folder = %folder.display(), %error, "a watched folder cannot be read");
            Vec::new()
        })
    };
    let mut sources = Vec::new();
    for source in entries(folder) {
        let (Ok(id), true) = (source.file_name().into_string(), source.path().is_dir()) else { continue };
        let mut files: Vec<Seen> =
            entries(&source.path()).iter().filter_map(|file| file_seen(file.path())).collect();
        files.sort_by(|a, b| a.name.cmp(&b.name));
        files.truncate(MOST_FILES);
        sources.push((id, files));
    }
    sources.sort_by(|a, b| a.0.cmp(&b.0));
    sources
}

fn file_seen(path: PathBuf) -> Option<Seen> {
    let name = path.file_name()?.to_str()?.to_owned();
    let about = std::fs::metadata(&path).ok().filter(std::fs::Metadata::is_file)?;
    if name.starts_with('.') || UNFINISHED.iter().any(|ending| name.ends_with(ending)) {
        return None;
    }
    let since_1970 = about.modified().ok()?.duration_since(std::time::UNIX_EPOCH).ok()?;
    let modified_at = Instant(i64::try_from(since_1970.as_secs()).ok()?);
    Some(Seen { path, name, size: about.len(), modified_at })
}

/// Reads the files of a source that have changed and rest.
async fn take(engine: &Engine, mut source: Source, files: Vec<Seen>) -> Result<u64, PassError> {
    let held = engine.store.taken_files(&source.id).await?;
    let site = engine.store.site(&source.site_id).await?;
    let zone = site.and_then(|site| zone(&site.time_zone).ok());
    let mut stored = 0;
    for file in files {
        let now = engine.clock.now();
        let before = held.iter().find(|held| held.name == file.name);
        let same = before.filter(|held| (held.size, held.modified_at) == (file.size, file.modified_at));
        let mut noted = TakenFile {
            source_id: source.id.clone(),
            name: file.name.clone(),
            size: file.size,
            modified_at: file.modified_at,
            seen_at: same.map_or(now, |held| held.seen_at),
            taken_at: None,
            stored: 0,
            fault: None,
        };
        match same {
            Some(held) if held.taken_at.is_some() => continue,
            Some(held) if now.since(held.seen_at) < REST => continue,
            Some(_) => {
                noted.taken_at = Some(now);
                match read(&source, zone, file, now).await? {
                    Ok((read, told)) => {
                        if let Some(layout) = told {
                            let mapping = layout.to_json();
                            engine.store.set_mapping(&source, &mapping).await?;
                            source.mapping = Some(mapping);
                        }
                        if let Some(refused) = read.refused.first() {
                            let (rows, line) = (read.rows.refused, refused.line);
                            let why = &refused.reason;
                            tracing::warn!(
                                source = source.id,
                                file = noted.name,
                                rows,
                                line,
                                why,
                                "rows refused"
                            );
                        }
                        let upload = engine.store.store_readings(&source.id, &read.readings, now).await?;
                        noted.stored = upload.stored + upload.corrected;
                        stored += noted.stored;
                    }
                    Err(fault) => {
                        tracing::warn!(source = source.id, file = noted.name, fault, "a file was refused");
                        noted.fault = Some(fault);
                    }
                }
            }
            None => {}
        }
        engine.store.note_taken_file(&noted).await?;
    }
    Ok(stored)
}

/// A file's readings, or why there are none. How it is read stands in the source's
/// mapping, or else is told from the file and given back to be remembered.
async fn read(
    source: &Source,
    zone: Option<Tz>,
    file: Seen,
    now: Instant,
) -> Result<Result<(StationFile, Option<Layout>), String>, PassError> {
    let (mapping, kind) = (source.mapping.clone(), source.kind);
    let reading = move || {
        let opened = || File::open(&file.path).map_err(|error| error.to_string());
        let (layout, told) = match mapping {
            Some(mapping) => (known(&mapping)?, false),
            None => {
                let mut head = Vec::new();
                let head_of = opened()?.take(layout::HEAD_BYTES as u64).read_to_end(&mut head);
                head_of.map_err(|error| error.to_string())?;
                (recognised(&head, &file.name, zone)?.of_kind(kind), true)
            }
        };
        let read =
            layout::read(BufReader::new(opened()?), &layout, now).map_err(|fault| fault.to_string())?;
        Ok((read, Some(layout).filter(|_| told)))
    };
    Ok(tokio::task::spawn_blocking(reading).await?)
}

fn known(mapping: &Value) -> Result<Layout, String> {
    input::read(mapping, Layout::from_fields).map_err(|faults| format!("the source's mapping: {faults}"))
}

fn recognised(head: &[u8], name: &str, zone: Option<Tz>) -> Result<Layout, String> {
    let recognised = layout::recognise(head, Some(name), &json!({}), zone)
        .map_err(|unclear| format!("set the source's mapping: {unclear}"))?;
    let doubts: Vec<String> =
        recognised.doubts.iter().map(|doubt| format!("{}: {}", doubt.key, doubt.detail)).collect();
    if doubts.is_empty() {
        return Ok(recognised.layout);
    }
    Err(format!("set the source's mapping, since this would be a guess: {}", doubts.join("; ")))
}
