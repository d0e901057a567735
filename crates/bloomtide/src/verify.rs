//! `verify`: how good the odds of past seasons were.

use axum::http::Method;
use clap::Args;
use model::time::Instant;
use serde_json::Value;

use crate::cli::{Format, say};
use crate::hand::Hand;
use crate::settings::Database;

#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    #[command(flatten)]
    database: Database,
    /// Id of a farm; all farms when none is given.
    #[arg(value_name = "FARM")]
    farm: Option<String>,
    /// Only what forecasts issued since then led to expect, like
    /// 2013-04-01T00:00:00-04:00
    #[arg(long, value_name = "TIME", value_parser = Instant::parse)]
    since: Option<Instant>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

/// Runs the command.
pub(crate) async fn run(args: VerifyArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    let farms = match &args.farm {
        Some(id) => vec![hand.ask(Method::GET, &format!("farms/{id}"), None).await?],
        None => hand.list("farms").await?,
    };
    let since = args.since.map_or_else(String::new, |at| format!("?since={at}"));
    let mut all = Vec::new();
    for farm in &farms {
        let id = farm["id"].as_str().unwrap_or_default();
        let found = hand.ask(Method::GET, &format!("farms/{id}/verification{since}"), None).await?;
        match args.format {
            Format::Json => all.push(found),
            Format::Table => say(&told(farm, &found)),
        }
    }
    if matches!(args.format, Format::Json) {
        say(&serde_json::to_string_pretty(&all)?);
    }
    Ok(())
}

/// A farm in sentences.
fn told(farm: &Value, found: &Value) -> String {
    let mut lines = vec![format!("{}:", farm["name"].as_str().unwrap_or_default())];
    let sentences = found["told"].as_array().into_iter().flatten().filter_map(Value::as_str);
    lines.extend(sentences.map(|sentence| format!("  {sentence}")));
    let open = found["open"].as_u64().unwrap_or_default();
    if open > 0 {
        lines.push(format!("  {open} expectations are open: what they are of has not come yet."));
    }
    lines.join("\n")
}
