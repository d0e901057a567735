//! `user`: the people of the server, and how they come in.

use anyhow::bail;
use axum::http::Method;
use clap::{Args, Subcommand};
use serde_json::json;

use crate::cli::say;
use crate::hand::{Hand, table};
use crate::settings::Database;

/// What is to be done with people.
#[derive(Debug, Subcommand)]
pub(crate) enum UserCommand {
    /// List the people of the server with their roles.
    List(ListArgs),
    /// Make a link by which a person takes a role on a farm. It works once, for
    /// a week.
    Invite(InviteArgs),
    /// Make a link by which a person chooses a new password. It works once, for
    /// an hour.
    Reset(ResetArgs),
    /// Let a person run the server: they see and change all farms.
    Operator(OperatorArgs),
    /// Remove a person: name, address, password, roles and tokens go, and what
    /// they did stays under the role that they had.
    Remove(PersonArgs),
}

#[derive(Debug, Args)]
pub(crate) struct ListArgs {
    #[command(flatten)]
    database: Database,
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
pub(crate) struct OperatorArgs {
    #[command(flatten)]
    person: PersonArgs,
    /// They run it no more.
    #[arg(long)]
    not: bool,
}

#[derive(Debug, Args)]
pub(crate) struct ResetArgs {
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    place: PlaceArgs,
}

#[derive(Debug, Args)]
pub(crate) struct InviteArgs {
    /// Id of the farm.
    #[arg(value_name = "FARM")]
    farm: String,
    /// advisor, grower or consultant.
    #[arg(value_name = "ROLE")]
    role: String,
    #[command(flatten)]
    person: PersonArgs,
    #[command(flatten)]
    place: PlaceArgs,
}

/// Where links lead.
#[derive(Debug, Args)]
struct PlaceArgs {
    /// Address under which people reach the server [default: from the settings]
    #[arg(long, value_name = "URL", env = "BLOOMTIDE_PUBLIC_URL")]
    public_url: Option<String>,
}

impl PlaceArgs {
    fn link(&self, hand: &Hand, path: &str) -> String {
        let server = self.public_url.as_deref().unwrap_or(&hand.public_url);
        format!("{}{path}", server.trim_end_matches('/'))
    }
}

/// Runs the command.
pub(crate) async fn run(command: UserCommand) -> anyhow::Result<()> {
    match command {
        UserCommand::List(args) => list(&Hand::open(&args.database).await?).await,
        UserCommand::Invite(args) => invite(&args).await,
        UserCommand::Reset(args) => reset(&args).await,
        UserCommand::Operator(args) => operator(&args).await,
        UserCommand::Remove(args) => remove(&args).await,
    }
}

async fn list(hand: &Hand) -> anyhow::Result<()> {
    let mut rows = Vec::new();
    let mut after: Option<String> = None;
    loop {
        let people = hand.store.people(after.as_deref(), 1_000).await?;
        let Some(last) = people.last() else { break };
        after = Some(last.id.clone());
        for person in &people {
            let roles = hand.store.memberships_of(&person.id).await?;
            let mut roles: Vec<String> =
                roles.iter().map(|one| format!("{}: {}", one.farm_id, one.role.word())).collect();
            if person.operator {
                roles.insert(0, "runs the server".to_owned());
            }
            rows.push(vec![person.email.clone(), person.name.clone(), roles.join(", ")]);
        }
    }
    say(&table(&["ADDRESS", "NAME", "ROLES"], &rows));
    Ok(())
}

async fn invite(args: &InviteArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.person.database).await?;
    let body = json!({"email": args.person.email, "role": args.role});
    let made = hand.ask(Method::POST, &format!("farms/{}/invitations", args.farm), Some(body)).await?;
    let path = made["path"].as_str().unwrap_or_default();
    say(&format!("the role is taken here, once, within a week: {}", args.place.link(&hand, path)));
    Ok(())
}

async fn reset(args: &ResetArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.person.database).await?;
    let person = hand.person(&args.person.email).await?;
    let Some(secret) = access::link::reset(&hand.store, &person.email, hand.now()).await? else {
        bail!("{} left meanwhile", person.email);
    };
    let link = args.place.link(&hand, &format!("/reset/{secret}"));
    say(&format!("a new password is chosen here, once, within an hour: {link}"));
    Ok(())
}

async fn operator(args: &OperatorArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.person.database).await?;
    let person = hand.person(&args.person.email).await?;
    if person.operator != args.not {
        let so = if args.not { "does not run" } else { "runs" };
        say(&format!("{} {so} the server already", person.email));
        return Ok(());
    }
    hand.store.make_operator(&person, !args.not).await?;
    let so = if args.not { "does not run the server any more" } else { "now runs the server" };
    say(&format!("{} {so}", person.email));
    Ok(())
}

async fn remove(args: &PersonArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    let person = hand.person(&args.email).await?;
    hand.store.remove_person(&person, hand.now()).await?;
    say(&format!("{} is removed; what they did stays under the role that they had", person.email));
    Ok(())
}
