//! Which send journal is this instance's, and what becomes of the journals after a
//! restore.

use std::fs::{File, TryLockError};
use std::path::Path;

use alerts::journal::Journal;
use anyhow::{Context, bail};
use model::time::Instant;
use store::Store;

/// Most instances with one folder of journals.
const MOST: usize = 64;

/// The journal of an instance, held by it alone.
pub(crate) struct Held {
    pub(crate) journal: Journal,
    /// Its name, by which the database knows the instance.
    pub(crate) name: String,
    /// Held while the service runs.
    pub(crate) lock: File,
}

/// Opens the journal of the name, or of the name with a number behind where another
/// instance holds that. One that must be read after a restore and is not there is lost:
/// a new one of its name would pass for it.
pub(crate) async fn open(store: &Store, folder: &Path, name: &str) -> anyhow::Result<Held> {
    let unread = store.unread_journals().await?;
    std::fs::create_dir_all(folder)
        .with_context(|| format!("--journal: {} cannot be made", folder.display()))?;
    for number in 1..=MOST {
        let name = if number == 1 { name.to_owned() } else { format!("{name}-{number}") };
        let lost = unread.contains(&name) && !folder.join(format!("{name}.jsonl")).exists();
        if lost {
            continue;
        }
        if let Some(lock) = lock(folder, &name)? {
            return Ok(Held { journal: Journal::open(folder, &name)?, name, lock });
        }
    }
    bail!(
        "--journal: {} holds the journals of {MOST} instances at work; give this one another",
        folder.display()
    )
}

/// None while another instance holds it.
fn lock(folder: &Path, name: &str) -> anyhow::Result<Option<File>> {
    let path = folder.join(format!("{name}.lock"));
    let file =
        File::create(&path).with_context(|| format!("--journal: {} cannot be written", path.display()))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(error)) => {
            Err(error).with_context(|| format!("--journal: {} cannot be locked", path.display()))
        }
    }
}

/// Notes that the instance is at work. After a restore it reads first what its
/// journal, and those beside it that nobody holds, say of the time since.
pub(crate) async fn enter(store: &Store, folder: &Path, held: &Held, now: Instant) -> anyhow::Result<()> {
    for name in store.unread_journals().await? {
        let (_lock, journal) = if name == held.name {
            (None, held.journal.clone())
        } else if folder.join(format!("{name}.jsonl")).exists() {
            match lock(folder, &name)? {
                Some(lock) => (Some(lock), Journal::open(folder, &name)?),
                None => continue,
            }
        } else {
            continue;
        };
        let (told, cut) = journal.read()?;
        let settled = store.take_journal(&name, &told).await?;
        tracing::info!(journal = name, settled, cut, "the send journal was read after a restore");
    }
    store.note_instance(&held.name, now).await?;
    Ok(())
}
