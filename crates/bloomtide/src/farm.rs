//! `farm`: the farms of the server.

use std::path::PathBuf;

use anyhow::Context;
use axum::http::Method;
use clap::{Args, Subcommand};
use serde_json::{Value, json};

use crate::cli::say;
use crate::hand::{Hand, table};
use crate::settings::Database;

/// What is to be done with farms.
#[derive(Debug, Subcommand)]
pub(crate) enum FarmCommand {
    /// List the farms.
    List(ListArgs),
    /// Add a farm.
    Add(AddArgs),
    /// Write everything of a farm into a file, JSON.
    Export(ExportArgs),
    /// Close a farm: it is only read from then on, and nothing is told of it any
    /// more.
    Close(OneArgs),
    /// Open a closed farm again.
    Open(OneArgs),
}

#[derive(Debug, Args)]
pub(crate) struct ListArgs {
    #[command(flatten)]
    database: Database,
}

#[derive(Debug, Args)]
pub(crate) struct OneArgs {
    #[command(flatten)]
    database: Database,
    /// Id of the farm.
    #[arg(value_name = "ID")]
    id: String,
}

#[derive(Debug, Args)]
pub(crate) struct AddArgs {
    #[command(flatten)]
    one: OneArgs,
    /// What its people call it.
    #[arg(value_name = "NAME")]
    name: String,
    /// Where its alerts go; may be given several times
    #[arg(long, value_name = "ADDRESS")]
    mail: Vec<String>,
}

#[derive(Debug, Args)]
pub(crate) struct ExportArgs {
    #[command(flatten)]
    one: OneArgs,
    /// The file; it must not be there yet.
    #[arg(value_name = "FILE.json")]
    file: PathBuf,
}

/// Runs the command.
pub(crate) async fn run(command: FarmCommand) -> anyhow::Result<()> {
    match command {
        FarmCommand::List(args) => list(&Hand::open(&args.database).await?).await,
        FarmCommand::Add(args) => add(&args).await,
        FarmCommand::Export(args) => export(&args).await,
        FarmCommand::Close(args) => change(&args, Method::POST, "is closed and only read from now on").await,
        FarmCommand::Open(args) => change(&args, Method::DELETE, "is open").await,
    }
}

async fn list(hand: &Hand) -> anyhow::Result<()> {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let row = |farm: &Value| {
        let mails: Vec<String> = farm["alert_emails"].as_array().into_iter().flatten().map(text).collect();
        let closed = farm["closed_at"].as_str().map(|at| format!("closed {at}")).unwrap_or_default();
        vec![text(&farm["id"]), text(&farm["name"]), mails.join(", "), closed]
    };
    let rows: Vec<Vec<String>> = hand.list("farms").await?.iter().map(row).collect();
    say(&table(&["ID", "NAME", "ALERTS GO TO", ""], &rows));
    Ok(())
}

async fn add(args: &AddArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.one.database).await?;
    let body = json!({"id": args.one.id, "name": args.name, "alert_emails": args.mail});
    hand.ask(Method::POST, "farms", Some(body)).await?;
    say(&format!("farm {} is there", args.one.id));
    Ok(())
}

async fn export(args: &ExportArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.one.database).await?;
    let file = std::fs::File::create_new(&args.file)
        .with_context(|| format!("{} cannot be made", args.file.display()))?;
    let whole = hand.ask(Method::GET, &format!("farms/{}/export", args.one.id), None).await;
    let whole = whole.inspect_err(|_| {
        let _ = std::fs::remove_file(&args.file);
    })?;
    serde_json::to_writer(std::io::BufWriter::new(&file), &whole)?;
    file.sync_all()?;
    let count = |name: &str| whole[name].as_array().map_or(0, Vec::len);
    say(&format!(
        "{}: {} sites, {} blocks, {} people",
        args.file.display(),
        count("sites"),
        count("blocks"),
        count("people")
    ));
    Ok(())
}

async fn change(args: &OneArgs, method: Method, so: &str) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    hand.ask(method, &format!("farms/{}/closing", args.id), None).await?;
    say(&format!("farm {} {so}", args.id));
    Ok(())
}
