//! What was sent, written down outside the database: append-only, and on disk before
//! and after the bytes of each message go out.
//!
//! A database that was restored does not know what went out since. Each instance's
//! journal does; until all are read nothing goes out. One line of JSON each, so that
//! a torn last line hides nothing else.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use model::time::Instant;
use serde::{Deserialize, Serialize};
use store::{Carried, Journaled, LeasedMessage};

/// Why the journal could not be used.
#[derive(Debug, thiserror::Error)]
#[error("the send journal {path}: {source}; see that the folder can be written and the disk has room")]
pub struct JournalError {
    /// The file.
    path: String,
    /// What the system said.
    source: std::io::Error,
}

/// What became of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wrote {
    /// Its bytes are about to go out.
    Offering,
    /// A server took it.
    Accepted,
    /// It was surely not taken.
    NotTaken,
    /// Nobody knows.
    Unknown,
}

#[derive(Debug, Serialize, Deserialize)]
struct Line {
    at: Instant,
    header_id: String,
    recipient: String,
    what: Wrote,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    carries: Vec<Carried>,
}

/// The journal of one instance. Clones write to one file.
#[derive(Debug, Clone)]
pub struct Journal {
    path: PathBuf,
    file: Arc<Mutex<File>>,
}

impl Journal {
    /// Opens the journal of an instance in a folder, which is made when it is not
    /// there; what is in it stays.
    ///
    /// # Errors
    /// When folder or file cannot be made or written.
    pub fn open(folder: &Path, instance: &str) -> Result<Journal, JournalError> {
        let path = folder.join(format!("{instance}.jsonl"));
        let failed = |source| JournalError { path: path.display().to_string(), source };
        std::fs::create_dir_all(folder).map_err(failed)?;
        let new = !path.exists();
        let mut file = OpenOptions::new().create(true).append(true).open(&path).map_err(failed)?;
        if new {
            file.sync_all().and_then(|()| File::open(folder)?.sync_all()).map_err(failed)?;
        } else {
            // A line that was cut by a crash ends here.
            file.write_all(b"\n").map_err(failed)?;
        }
        Ok(Journal { path, file: Arc::new(Mutex::new(file)) })
    }

    /// Writes down what becomes of a message, and waits until that is on disk.
    ///
    /// # Errors
    /// When the disk refuses: nothing may go out then.
    pub async fn write(&self, leased: &LeasedMessage, what: Wrote, at: Instant) -> Result<(), JournalError> {
        let line = Line {
            at,
            header_id: leased.message.header_id.clone(),
            recipient: leased.message.recipient.clone(),
            what,
            carries: if what == Wrote::Offering { leased.carries.clone() } else { Vec::new() },
        };
        let mut text = serde_json::to_string(&line).unwrap_or_default();
        text.push('\n');
        let (file, path) = (Arc::clone(&self.file), self.path.display().to_string());
        let written = tokio::task::spawn_blocking(move || {
            let mut file = file.lock().unwrap_or_else(|broken| broken.into_inner());
            file.write_all(text.as_bytes())?;
            file.sync_data()
        });
        written
            .await
            .unwrap_or_else(|_| Err(std::io::Error::other("the writing ended unasked")))
            .map_err(|source| JournalError { path, source })
    }

    /// What it says of the messages that went out, or may have: the last word of each.
    /// Lines that do not read, as one that a crash cut, are passed over and counted.
    ///
    /// # Errors
    /// When the file does not read.
    pub fn read(&self) -> Result<(Vec<Journaled>, u64), JournalError> {
        let failed = |source| JournalError { path: self.path.display().to_string(), source };
        let mut told: BTreeMap<String, Option<Journaled>> = BTreeMap::new();
        let mut carried: BTreeMap<String, Vec<Carried>> = BTreeMap::new();
        let mut unread = 0;
        for line in BufReader::new(File::open(&self.path).map_err(failed)?).split(b'\n') {
            let line = line.map_err(failed)?;
            if line.iter().all(u8::is_ascii_whitespace) {
                continue;
            }
            let Ok(line) = serde_json::from_slice::<Line>(&line) else {
                unread += 1;
                continue;
            };
            if line.what == Wrote::Offering {
                carried.insert(line.header_id.clone(), line.carries);
            }
            let taken = told
                .get(&line.header_id)
                .is_some_and(|before| before.as_ref().is_some_and(|before| before.taken));
            let one = (line.what != Wrote::NotTaken || taken).then(|| Journaled {
                carries: carried.get(&line.header_id).cloned().unwrap_or_default(),
                header_id: line.header_id.clone(),
                recipient: line.recipient,
                taken: taken || line.what == Wrote::Accepted,
                at: line.at,
            });
            told.insert(line.header_id, one);
        }
        Ok((told.into_values().flatten().collect(), unread))
    }
}

#[cfg(test)]
mod tests;
