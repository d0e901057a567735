//! The Maildir into which a mail server puts what comes back to the address that
//! our mails are from.
//!
//! What lies in `new` is read and, once its reader has done with it, moved to
//! `cur`: bounces as seen, all else (a person's answer, a holiday reply) as not
//! seen yet, for whoever looks after that address. A reader that ends in between
//! finds it in `new` again.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use super::bounce::{self, Bounce, LONGEST, NotABounce};

/// Mails that are read in one look; the others are for the next.
const READ_AT_ONCE: usize = 200;

/// Flags behind a name in `cur`: seen, and none.
const SEEN: &str = ":2,S";
const UNSEEN: &str = ":2,";

/// A mail that lay in the box.
#[derive(Debug)]
pub struct Returned {
    /// What it says of each recipient, or why it is no bounce.
    pub told: Result<Vec<Bounce>, NotABounce>,
    path: PathBuf,
}

/// The Maildir, and what in it is passed over.
#[derive(Debug)]
pub struct BounceBox {
    folder: PathBuf,
    /// Names that were found unfit, so that each is said once.
    passed_over: Mutex<BTreeSet<OsString>>,
}

impl BounceBox {
    /// The Maildir at `folder`, which need not be there yet.
    pub fn new(folder: impl Into<PathBuf>) -> BounceBox {
        BounceBox { folder: folder.into(), passed_over: Mutex::default() }
    }

    /// Reads what is new, in the order of the names, which mail servers begin with
    /// the time. Blocks. What is longer than [`LONGEST`], no file (a link), or
    /// cannot be read stays where it is and is said in the log once.
    ///
    /// # Errors
    /// When `new` cannot be listed. One that is not there is empty.
    pub fn look(&self) -> io::Result<Vec<Returned>> {
        let listed = match fs::read_dir(self.folder.join("new")) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            listed => listed?,
        };
        let names = listed.map(|entry| entry.map(|entry| entry.file_name()));
        let names = names.collect::<io::Result<BTreeSet<_>>>()?;
        let mut passed_over = self.passed_over.lock().unwrap_or_else(PoisonError::into_inner);
        passed_over.retain(|name| names.contains(name));
        let mut returned = Vec::new();
        for name in names {
            if returned.len() == READ_AT_ONCE {
                break;
            }
            let hidden = name.to_string_lossy().starts_with('.');
            if hidden || passed_over.contains(&name) {
                continue;
            }
            let path = self.folder.join("new").join(&name);
            match whole(&path) {
                Ok(bytes) => returned.push(Returned { told: bounce::read(&bytes), path }),
                // Another instance, or a person, was faster.
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => {
                    tracing::warn!(file = %path.display(), %error, "left where it is, and not read");
                    passed_over.insert(name);
                }
            }
        }
        Ok(returned)
    }
}

impl Returned {
    /// Moves the mail to `cur`. Blocks. That it is gone already is well.
    ///
    /// # Errors
    /// When it cannot be moved; the next look finds it again.
    pub fn done(self) -> io::Result<()> {
        let name = self.path.file_name().expect("it was found by its name").to_string_lossy().into_owned();
        let new = self.path.parent().expect("it lies in `new`");
        let cur = new.with_file_name("cur");
        let flags = if self.told.is_ok() { SEEN } else { UNSEEN };
        let base = name.split(':').next().unwrap_or(&name);
        fs::create_dir_all(&cur)?;
        match fs::rename(&self.path, cur.join(format!("{base}{flags}"))) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            moved => moved,
        }
    }
}

/// All of a file that is one and not too long.
fn whole(path: &Path) -> io::Result<Vec<u8>> {
    let unfit = |why: &str| Err(io::Error::new(io::ErrorKind::InvalidData, why));
    let about = fs::symlink_metadata(path)?;
    if !about.is_file() {
        return unfit("it is no file");
    }
    let mut bytes = Vec::new();
    File::open(path)?.take(LONGEST + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LONGEST {
        return unfit("it is longer than any bounce that is read (1 MiB)");
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests;
