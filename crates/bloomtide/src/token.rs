//! `token`: tokens of the API.

use access::{Wanted, new_token};
use anyhow::bail;
use clap::{Args, Subcommand};
use model::time::{DAY, Instant};
use store::{Credential, Scope};

use crate::cli::say;
use crate::hand::{Hand, table};
use crate::settings::Database;

/// What is to be done with tokens.
#[derive(Debug, Subcommand)]
pub(crate) enum TokenCommand {
    /// List a person's tokens and sign-ins.
    List(PersonArgs),
    /// Make a token for a person and show it, once.
    Make(MakeArgs),
    /// Take a token or sign-in back; it ends with its next use.
    Revoke(RevokeArgs),
}

#[derive(Debug, Args)]
pub(crate) struct PersonArgs {
    #[command(flatten)]
    database: Database,
    /// Mail address of the person.
    #[arg(value_name = "ADDRESS")]
    email: String,
}

#[derive(Debug, Args)]
pub(crate) struct MakeArgs {
    #[command(flatten)]
    person: PersonArgs,
    /// What it is for.
    #[arg(value_name = "NAME")]
    name: String,
    /// It only reads.
    #[arg(long)]
    read_only: bool,
    /// It ends after so many days.
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..))]
    days: Option<u16>,
}

#[derive(Debug, Args)]
pub(crate) struct RevokeArgs {
    #[command(flatten)]
    database: Database,
    /// Its id, as the list shows it; `first` is the one made at the first start.
    #[arg(value_name = "ID")]
    id: String,
}

/// Runs the command.
pub(crate) async fn run(command: TokenCommand) -> anyhow::Result<()> {
    match command {
        TokenCommand::List(args) => list(&args).await,
        TokenCommand::Make(args) => make(&args).await,
        TokenCommand::Revoke(args) => revoke(&args).await,
    }
}

async fn list(args: &PersonArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    let person = hand.person(&args.email).await?;
    let now = hand.now();
    let rows: Vec<Vec<String>> =
        hand.store.credentials_of(&person.id).await?.iter().map(|one| row(one, now)).collect();
    say(&table(&["ID", "KIND", "NAME", "MAY", "LAST USED", ""], &rows));
    Ok(())
}

fn row(one: &Credential, now: Instant) -> Vec<String> {
    let used = one.last_used_at.map_or_else(|| "never".to_owned(), |at| at.to_string());
    let ended = match (one.revoked_at, one.expires_at) {
        (Some(at), _) => format!("taken back {at}"),
        (None, Some(at)) if at <= now => format!("ended {at}"),
        (None, Some(at)) => format!("ends {at}"),
        (None, None) => String::new(),
    };
    let may = one.scope.word().to_owned();
    vec![one.id.clone(), one.kind.word().to_owned(), one.name.clone(), may, used, ended]
}

async fn make(args: &MakeArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.person.database).await?;
    let person = hand.person(&args.person.email).await?;
    if args.name.trim().is_empty() {
        bail!("the name says what the token is for; it is empty");
    }
    let now = hand.now();
    let wanted = Wanted {
        person_id: Some(&person.id),
        name: args.name.trim(),
        scope: if args.read_only { Scope::Read } else { Scope::Write },
        expires_at: args.days.map(|days| now.plus(i64::from(days) * DAY)),
    };
    let (id, secret) = new_token(&hand.store, wanted, now).await?;
    say(&format!("token {id}, shown this once: {secret}"));
    Ok(())
}

async fn revoke(args: &RevokeArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    if !hand.store.revoke(&args.id, hand.now()).await? {
        bail!("there is no token {} that still works", args.id);
    }
    say(&format!("token {} works no more", args.id));
    Ok(())
}
