//! Taking one source's files.

use std::collections::{HashMap, HashSet};
use std::fs::{File, OpenOptions};
use std::io::{self, BufReader, Read, Seek};
use std::path::Path;

use chrono_tz::Tz;
use model::input;
use model::series::{Forecast, Reading};
use model::time::{Instant, MINUTE, zone};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use store::{Source, TakenFile};
use weather::layout::{self, Layout};
use weather::mapping::Role;
use weather::station_file::{MAX_FILE_BYTES, StationFile};

use super::Seen;
use crate::{Engine, PassError};

/// A file is read once it has been seen unchanged for so long: half a row is
/// another reading.
const REST: i64 = MINUTE / 6;
/// Longest fault that is kept, characters.
const FAULT_CHARS: usize = 1_000;

/// Reads the files of a source that have changed and rest.
pub(super) async fn take(engine: &Engine, mut source: Source, files: Vec<Seen>) -> Result<u64, PassError> {
    let held = engine.store.taken_files(&source.id).await?;
    let held: HashMap<&str, &TakenFile> = held.iter().map(|file| (file.name.as_str(), file)).collect();
    let site = engine.store.site(&source.site_id).await?;
    let zone = site.and_then(|site| zone(&site.time_zone).ok());
    let mut stored = 0;
    for file in files {
        let now = engine.clock.now();
        let before = held.get(file.name.as_str()).copied();
        let same = before.filter(|held| (held.size, held.modified_at) == (file.size, file.modified_at));
        let mut noted = TakenFile {
            source_id: source.id.clone(),
            name: file.name.clone(),
            size: file.size,
            modified_at: file.modified_at,
            seen_at: same.map_or(now, |held| held.seen_at),
            taken_at: None,
            stored: 0,
            content: before.and_then(|held| held.content.clone()),
            fault: None,
        };
        match same {
            Some(held) if held.taken_at.is_some() || now.since(held.seen_at) < REST => continue,
            Some(_) => {
                noted = bring(engine, &mut source, zone, file, noted, now).await?;
                stored += noted.stored;
            }
            None => {}
        }
        engine.store.note_taken_file(&noted).await?;
    }
    Ok(stored)
}

/// Reads a file, stores what is new in it, and notes that.
async fn bring(
    engine: &Engine,
    source: &mut Source,
    zone: Option<Tz>,
    file: Seen,
    mut noted: TakenFile,
    now: Instant,
) -> Result<TakenFile, PassError> {
    let (asked, before) = (source.clone(), noted.content.clone());
    let read = tokio::task::spawn_blocking(move || read(&asked, zone, &file, before.as_deref(), now)).await?;
    match read {
        Ok(read) => {
            noted.stored = store(engine, &source.id, &read, now).await?;
            if let Some(layout) = &read.told {
                let mapping = layout.to_json();
                engine.store.set_mapping(source, &mapping).await?;
                source.mapping = Some(mapping);
            }
            noted.taken_at = Some(now);
            noted.content = Some(read.content);
            noted.fault = read.file.refused.first().map(|first| {
                let (rows, line, why) = (read.file.rows.refused, first.line, &first.reason);
                plain(&format!("{rows} rows were refused, the first of them line {line}: {why}"))
            });
        }
        // It may be readable the next time.
        Err(Unread::Broken(error)) => noted.fault = Some(plain(&error.to_string())),
        Err(Unread::Refused(fault)) => {
            noted.taken_at = Some(now);
            noted.fault = Some(plain(&fault));
        }
    }
    if let Some(fault) = &noted.fault {
        tracing::warn!(source = source.id, file = noted.name, fault, "not all of a file was taken");
    }
    Ok(noted)
}

async fn store(engine: &Engine, source: &str, read: &Taken, now: Instant) -> Result<u64, PassError> {
    let upload = match read.role {
        Role::Observed => engine.store.store_readings(source, &read.new, now).await?,
        Role::Forecast { issued_at } => {
            let forecast = Forecast { issued_at, hours: read.file.readings.clone() };
            engine.store.store_fetch(source, &[], Some(&forecast), now).await?;
            return Ok(read.file.readings.len() as u64);
        }
    };
    Ok(upload.stored + upload.corrected)
}

/// What a file gave.
struct Taken {
    file: StationFile,
    /// Its readings, but for those that it held when it was read before.
    new: Vec<Reading>,
    role: Role,
    /// The layout, where it was told from the file.
    told: Option<Layout>,
    content: String,
}

/// Why it gave nothing.
enum Unread {
    Broken(io::Error),
    Refused(String),
}

impl From<io::Error> for Unread {
    fn from(error: io::Error) -> Unread {
        Unread::Broken(error)
    }
}

fn read(
    source: &Source,
    zone: Option<Tz>,
    seen: &Seen,
    before: Option<&str>,
    now: Instant,
) -> Result<Taken, Unread> {
    if seen.too_long() {
        return Err(Unread::Refused(format!("has more than {MAX_FILE_BYTES} bytes, the most that are read")));
    }
    let mut opened = open(&seen.path)?;
    let (layout, told) = match &source.mapping {
        Some(mapping) => (known(mapping).map_err(Unread::Refused)?, false),
        None => {
            let mut head = Vec::new();
            (&mut opened).take(layout::HEAD_BYTES as u64).read_to_end(&mut head)?;
            let told = recognised(&head, &seen.name, zone).map_err(Unread::Refused)?;
            (told.of_kind(source.kind), true)
        }
    };
    let mut whole = |bytes: u64| {
        opened.rewind()?;
        let part = BufReader::new((&mut opened).take(bytes));
        Ok::<_, io::Error>(layout::read(part, &layout, now))
    };
    let file = whole(seen.size)?.map_err(|fault| Unread::Refused(fault.to_string()))?;
    let mut new = file.readings.clone();
    if let Some((bytes, hash)) = before.and_then(|before| before.split_once(' '))
        && let Some(bytes) = bytes.parse().ok().filter(|bytes| *bytes < seen.size)
        && let Ok(first) = whole(bytes)?
        && hash == hashed(&mut opened, bytes)?
    {
        let same = |reading: &Reading| (reading.at, reading.celsius.to_bits());
        let first: HashSet<_> = first.readings.iter().map(same).collect();
        new.retain(|reading| !first.contains(&same(reading)));
    }
    let content = format!("{} {}", seen.size, hashed(&mut opened, seen.size)?);
    Ok(Taken { file, new, role: layout.role(), told: Some(layout).filter(|_| told), content })
}

/// Opens a file, and no link: between being seen and being opened it may have
/// become one, or a pipe.
fn open(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::custom_flags(&mut options, libc::O_NOFOLLOW | libc::O_NONBLOCK);
    let file = options.open(path)?;
    if !file.metadata()?.is_file() {
        return Err(io::Error::other("is no file"));
    }
    Ok(file)
}

/// SHA-256 of the first bytes, in hexadecimal.
fn hashed(file: &mut File, bytes: u64) -> io::Result<String> {
    file.rewind()?;
    let mut hasher = Sha256::new();
    io::copy(&mut file.take(bytes), &mut hasher)?;
    Ok(format!("{:x}", hasher.finalize()))
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

/// Words that may quote a file, without what no database and no screen takes.
fn plain(text: &str) -> String {
    let plain = text.chars().map(|sign| if sign.is_control() { '\u{FFFD}' } else { sign });
    plain.take(FAULT_CHARS).collect()
}
