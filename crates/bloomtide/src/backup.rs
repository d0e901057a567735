//! `backup`, `restore`, `copy-db`: the whole database into a file, back, and
//! from one kind of database to the other.
//!
//! A backup is an SQLite database, whatever it was made from, and is looked
//! through before it counts as one.

use std::fs::{File, OpenOptions};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, ValueEnum};
use indicatif::ProgressBar;
use sha2::{Digest, Sha256};
use store::{SCHEMA, Store, TableSum};

use crate::cli::say;
use crate::settings::{Database, covered, on_postgres};
use crate::{clock, house};

#[derive(Debug, Args)]
pub(crate) struct BackupArgs {
    #[command(flatten)]
    database: Database,
    /// The file; it must not be there yet.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct RestoreArgs {
    #[command(flatten)]
    database: Database,
    /// What becomes of mails that had not gone out when the backup was made: they
    /// may have gone out since [default: they wait until the send journal of each
    /// instance was read, which `serve` does when it starts]
    #[arg(long, value_enum, value_name = "WHAT")]
    unsent: Option<Unsent>,
    /// Restores nothing, but lets mail go out though a journal is lost: some may go
    /// out a second time
    #[arg(long, conflicts_with_all = ["file", "unsent"])]
    release: bool,
    /// The backup.
    #[arg(value_name = "FILE", required_unless_present = "release")]
    file: Option<PathBuf>,
}

/// What becomes of mails that wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Unsent {
    /// They go out, some perhaps a second time, and no journal is waited for.
    Send,
    /// They stay here, with the reason on record; all else waits for the journals.
    GiveUp,
}

#[derive(Debug, Args)]
pub(crate) struct CopyArgs {
    /// Database that is read: path of an SQLite file that is not being served, or
    /// postgres://…
    #[arg(long, value_name = "PATH|URL")]
    from: String,
    /// Database that is written; it must be empty, and on Postgres brought up to
    /// date with migrate
    #[arg(long, value_name = "PATH|URL")]
    to: String,
}

/// Makes a backup, also of a database that is being served.
pub(crate) async fn backup(args: &BackupArgs) -> anyhow::Result<()> {
    let database = args.database.in_force()?;
    let part = Part::new(&args.file)?;
    if on_postgres(&database) {
        let from = Store::open(&database).await?;
        let to = Store::open(part.path()).await?;
        copy(&from, &to).await?;
        to.close().await?;
        from.close().await?;
        // Once more, so that it is one file at rest.
        let rest = Part::new(&args.file.with_extension("rest"))?;
        Store::snapshot(part.path(), rest.path(), false).await?;
        std::fs::rename(rest.path(), part.path())?;
    } else {
        Store::snapshot(&database, part.path(), false).await?;
    }
    let copy = Store::look_at(part.path()).await?;
    let (version, sums) = (copy.schema_version().await?, sound(&copy).await);
    copy.close().await?;
    let what = told(&sums?, version);
    part.keep()?;
    say(&format!("{}: {what}", args.file.display()));
    Ok(())
}

/// Puts a backup where no database is yet.
pub(crate) async fn restore(args: &RestoreArgs) -> anyhow::Result<()> {
    let database = args.database.in_force()?;
    let Some(file) = &args.file else { return release(&database).await };
    let (path, file) = (file, file.display().to_string());
    if !path.is_file() {
        bail!("there is no file {file}");
    }
    let backup = Store::look_at(&file).await.with_context(|| format!("{file} is no backup"))?;
    let version = backup.schema_version().await.with_context(|| format!("{file} is no backup"));
    backup.close().await?;
    if version? == 0 {
        bail!("{file} is no backup: nothing is in it");
    }
    if on_postgres(&database) {
        let folder = tempfile::tempdir().context("a temporary folder cannot be made")?;
        let part = Part::new(&folder.path().join("restore.db"))?;
        let from = read_back(&file, &part).await?;
        let to = Store::open(&database).await?;
        let sums = copy(&from, &to).await?;
        hold(&to, args.unsent).await?;
        to.close().await?;
        from.close().await?;
        say(&format!("restored: {}", told(&sums, SCHEMA)));
    } else {
        let _lock = house::lock(&database)?;
        // A link leads to the file itself.
        let path = Path::new(database.trim_start_matches("sqlite://")).canonicalize()?;
        if std::fs::metadata(&path)?.len() > 0 {
            bail!("{} is a database already; move it away first, or name another", path.display());
        }
        let left = ["-wal", "-shm", "-journal"].map(|end| PathBuf::from(format!("{}{end}", path.display())));
        if let Some(left) = left.iter().find(|left| left.exists()) {
            bail!(
                "{} belongs to a database that was here and would be read into the restored one; move it away first",
                left.display()
            );
        }
        let part = Part::beside(&path)?;
        let store = read_back(&file, &part).await?;
        let sums = store.sums().await?;
        hold(&store, args.unsent).await?;
        store.close().await?;
        part.keep()?;
        say(&format!("restored: {}", told(&sums, SCHEMA)));
    }
    Ok(())
}

/// Copies all rows from one database to another, and shows both counts and sums.
pub(crate) async fn copy_db(args: &CopyArgs) -> anyhow::Result<()> {
    if Store::version_of(&args.from).await.context("--from")?.unwrap_or_default() == 0 {
        bail!("--from: there is no database {}", covered(&args.from));
    }
    let folder = tempfile::tempdir().context("a temporary folder cannot be made")?;
    let part = Part::new(&folder.path().join("copy.db"))?;
    let (_lock, from) = if on_postgres(&args.from) {
        (None, Store::open(&args.from).await.context("--from")?)
    } else {
        // The file itself stays as it is: what is brought up to date is a copy.
        let lock = house::lock(&args.from)?;
        Store::snapshot(&args.from, part.path(), false).await.context("--from")?;
        (Some(lock), Store::open(part.path()).await.context("--from")?)
    };
    let to = Store::open(&args.to).await.context("--to")?;
    let sums = copy(&from, &to).await?;
    for one in &sums {
        say(&format!("{:>10}  {}  {}", one.rows, one.sum, one.table));
    }
    say(&format!("copied and read back: {}", told(&sums, SCHEMA)));
    to.close().await?;
    from.close().await?;
    Ok(())
}

async fn copy(from: &Store, to: &Store) -> anyhow::Result<Vec<TableSum>> {
    let bar = ProgressBar::new_spinner();
    let copied = from
        .copy_to(to, &|rows| {
            bar.set_message(format!("{rows} rows"));
            bar.tick();
        })
        .await;
    bar.finish_and_clear();
    Ok(copied?)
}

/// A backup as a database of this program's version, looked through.
async fn read_back(file: &str, part: &Part) -> anyhow::Result<Store> {
    Store::snapshot(file, part.path(), true).await.with_context(|| format!("{file} does not read"))?;
    let store = Store::open(part.path()).await?;
    sound(&store).await?;
    Ok(store)
}

/// What becomes of mail after a restore.
async fn hold(store: &Store, unsent: Option<Unsent>) -> anyhow::Result<()> {
    if unsent == Some(Unsent::GiveUp) {
        store.give_up_unsent("it may have gone out after the backup that was restored").await?;
    }
    if unsent == Some(Unsent::Send) {
        store.release().await?;
    } else {
        let waiting = store.figures(clock::system().now()).await?.unsent;
        let journals = store.hold_for_journals("unknown", clock::system().now()).await?;
        say(&format!(
            "{waiting} mails had not gone out when this backup was made, and others may have gone out since: no mail \
             goes out until the send journals ({journals}) were read. `serve` reads those in its --journal folder when \
             it starts; where one is lost, `bloomtide restore --release` lets mail go"
        ));
    }
    Ok(())
}

/// Lets mail go out though journals were not read.
async fn release(database: &str) -> anyhow::Result<()> {
    let store = Store::open(database).await?;
    let unread = store.release().await?;
    store.close().await?;
    say(&match unread.as_slice() {
        [] => "no mail was held".to_owned(),
        some => format!("mail goes out; these journals were not read: {}", some.join(", ")),
    });
    Ok(())
}

/// What a copy holds, when it is sound.
async fn sound(store: &Store) -> anyhow::Result<Vec<TableSum>> {
    let faults = store.faults(true).await?;
    if let Some(first) = faults.first() {
        bail!("the copy is damaged ({first}); nothing was kept");
    }
    Ok(store.sums().await?)
}

/// Rows, tables and one sum over all, as `sha256sum` has it of the lines that
/// `copy-db` shows.
fn told(sums: &[TableSum], version: i64) -> String {
    let rows: u64 = sums.iter().map(|one| one.rows).sum();
    let mut lines: Vec<String> =
        sums.iter().map(|one| format!("{} {} {}\n", one.table, one.rows, one.sum)).collect();
    lines.sort();
    let whole = Sha256::digest(lines.concat());
    let hex: String = whole.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    format!("{rows} rows in {} tables, schema {version}, sum {hex}", sums.len())
}

/// A file that is being written, for its owner's eyes; unless it is kept, it goes.
struct Part {
    path: String,
    whole: PathBuf,
    kept: std::cell::Cell<bool>,
}

impl Part {
    fn new(whole: &Path) -> anyhow::Result<Part> {
        if whole.exists() {
            bail!("{} is there already; name another file", whole.display());
        }
        Part::beside(whole)
    }

    fn beside(whole: &Path) -> anyhow::Result<Part> {
        let mut name = whole.file_name().context("the file has no name")?.to_owned();
        name.push(".part");
        let path = whole.with_file_name(name);
        let made = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&path);
        made.with_context(|| format!("{} cannot be made", path.display()))?;
        let kept = std::cell::Cell::new(false);
        Ok(Part { path: path.display().to_string(), whole: whole.to_owned(), kept })
    }

    fn path(&self) -> &str {
        &self.path
    }

    /// Makes it durable under its own name.
    fn keep(&self) -> anyhow::Result<()> {
        File::open(&self.path)?.sync_all()?;
        std::fs::rename(&self.path, &self.whole)
            .with_context(|| format!("{} cannot be put in place", self.whole.display()))?;
        self.kept.set(true);
        let folder = self.whole.parent().filter(|folder| !folder.as_os_str().is_empty());
        File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.kept.get() {
            for end in ["", "-wal", "-shm"] {
                let _ = std::fs::remove_file(format!("{}{end}", self.path));
            }
        }
    }
}
