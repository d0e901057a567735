//! `migrate`: brings a database up to date.

use store::Store;

use crate::cli::say;

/// Runs the command.
pub(crate) async fn run(database: &str) -> anyhow::Result<()> {
    let (before, after) = Store::migrate(database).await?;
    say(&if before == after {
        format!("the database was up to date already, at version {after}")
    } else {
        format!("the database went from version {before} to version {after}")
    });
    Ok(())
}
