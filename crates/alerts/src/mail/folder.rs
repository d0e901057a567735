//! Mail into a folder of `.eml` files, where no mail server is set.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use super::letter::{self, LetterError};

/// Why a message could not be put into the folder.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The id cannot name a file.
    #[error(transparent)]
    Id(#[from] LetterError),
    /// Another message already has this id.
    #[error("{} holds another message under the same Message-ID; nothing was written", .0.display())]
    Taken(PathBuf),
    /// The disk refused.
    #[error("{}: {source}; check that the folder can be written and the disk has room", .path.display())]
    Disk {
        /// The file or folder at fault.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Puts `message` into `folder` as `ID.eml`, where ID is `header_id` up to its
/// `@`, and gives the file's path. When it returns, file and name are on disk.
/// The same id with the same bytes again changes nothing.
///
/// # Errors
/// [`FolderError`]: an id that cannot name a file, another message under the
/// same id, or the disk.
pub async fn keep(folder: &Path, header_id: &str, message: &str) -> Result<PathBuf, FolderError> {
    let path = folder.join(format!("{}.eml", letter::local_part(header_id)?));
    let bytes = message.as_bytes().to_vec();
    tokio::task::spawn_blocking(move || put(&path, &bytes).map(|()| path))
        .await
        .expect("writing a file does not panic")
}

/// Every file here is a whole message: it is written and synced under another
/// name first, then named, then the name is synced.
fn put(path: &Path, bytes: &[u8]) -> Result<(), FolderError> {
    let folder = path.parent().expect("a file in a folder has a parent");
    let at = |path: &Path| {
        let path = path.to_owned();
        move |source| FolderError::Disk { path, source }
    };
    fs::create_dir_all(folder).map_err(at(folder))?;
    match fs::read(path) {
        Ok(held) if held == bytes => return sync_names(folder).map_err(at(folder)),
        Ok(_) => return Err(FolderError::Taken(path.to_owned())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => return Err(at(path)(error)),
    }
    let part = part_beside(path);
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(&part)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&part, path))
        .and_then(|()| sync_names(folder));
    written.map_err(|source| {
        // What is left of a failed try; that try's own error is the one to tell.
        let _ = fs::remove_file(&part);
        at(path)(source)
    })
}

/// A name that no other writer uses, hidden from those who list `*.eml`.
fn part_beside(path: &Path) -> PathBuf {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let mut name = OsString::from(".");
    name.push(path.file_name().expect("a message's path has a file name"));
    name.push(format!(".{}-{}.part", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed)));
    path.with_file_name(name)
}

fn sync_names(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests;
