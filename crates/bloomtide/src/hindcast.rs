//! `hindcast`: how the legs would have gone in past springs of a site.

use std::path::PathBuf;

use anyhow::{Context, bail};
use axum::http::Method;
use charts::hindcast::{picture, table};
use clap::{Args, ValueEnum};
use model::hindcast::{Range, Spring};
use model::time::zone;
use serde::Deserialize;

use crate::cli::say;
use crate::hand::{self, Hand};
use crate::settings::Database;

#[derive(Debug, Args)]
pub(crate) struct HindcastArgs {
    #[command(flatten)]
    database: Database,
    /// Id of the site.
    #[arg(value_name = "SITE")]
    site: String,
    /// The clock starts on a day of each year, at a time of the site's wall clock
    #[arg(long, value_name = "MM-DDTHH:MM", required_unless_present_any = ["degree_hours", "logged"])]
    start: Option<String>,
    /// Or when so many degree-hours above 4.5 °C have gathered since --since
    #[arg(long, value_name = "SUM", conflicts_with_all = ["start", "logged"])]
    degree_hours: Option<f64>,
    /// The day of each year from which they gather
    #[arg(long, value_name = "MM-DD", default_value = "01-01")]
    since: String,
    /// Or at a moment that somebody knows; may be given once for each year
    #[arg(long, value_name = "YYYY-MM-DDTHH:MM", conflicts_with = "start")]
    logged: Vec<String>,
    /// Mark of each leg in turn, as a share of the style; may be given several times
    #[arg(long, value_name = "SHARE", default_value = "0.60")]
    mark: Vec<String>,
    /// Growth curve
    #[arg(long, value_name = "ID", default_value = "reference")]
    curve: String,
    /// Mean style length, for a curve in mm
    #[arg(long, value_name = "MM")]
    style_mm: Option<f64>,
    /// First year
    #[arg(long, value_name = "YEAR")]
    from: Option<i32>,
    /// Last year
    #[arg(long, value_name = "YEAR")]
    to: Option<i32>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "table")]
    format: Shape,
    /// Also draw the springs into this SVG file.
    #[arg(long, value_name = "FILE.svg")]
    picture: Option<PathBuf>,
}

/// How past springs are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Shape {
    /// For people.
    Table,
    /// For programs.
    Json,
    /// For spreadsheets.
    Csv,
}

/// What the API says of them.
#[derive(Deserialize)]
struct Found {
    time_zone: String,
    curve: String,
    rule: String,
    springs: Vec<Spring>,
    ranges: Vec<Range>,
    about: String,
}

/// Runs the command.
pub(crate) async fn run(args: HindcastArgs) -> anyhow::Result<()> {
    let hand = Hand::open(&args.database).await?;
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.append_pair("curve", &args.curve).append_pair("marks", &args.mark.join(","));
    if let Some(start) = &args.start {
        query.append_pair("start", start);
    }
    if let Some(sum) = args.degree_hours {
        query.append_pair("degree_hours", &sum.to_string()).append_pair("since", &args.since);
    }
    if !args.logged.is_empty() {
        query.append_pair("logged", &args.logged.join(","));
    }
    let numbers = [("style_mm", args.style_mm.map(|mm| mm.to_string()))];
    let years =
        [("from", args.from), ("to", args.to)].map(|(name, year)| (name, year.map(|year| year.to_string())));
    for (name, value) in numbers.into_iter().chain(years) {
        if let Some(value) = value {
            query.append_pair(name, &value);
        }
    }
    let path = format!("sites/{}/hindcast?{}", args.site, query.finish());
    let answer = hand.ask(Method::GET, &path, None).await?;
    let found: Found = serde_json::from_value(answer.clone())?;
    if found.springs.is_empty() {
        bail!(
            "site {} has no readings of such a spring; past ones come in with `bloomtide import {} --archive FROM..TO`",
            args.site,
            args.site
        );
    }
    let zone = zone(&found.time_zone)?;
    if let Some(path) = &args.picture {
        let name = format!("{}, {}, clock started {}", args.site, found.curve, found.rule);
        let svg = picture(&name, &found.springs, &found.ranges, zone);
        std::fs::write(path, svg).with_context(|| format!("{} cannot be written", path.display()))?;
    }
    match args.format {
        Shape::Json => say(&serde_json::to_string_pretty(&answer)?),
        Shape::Csv => {
            let mut out = csv::Writer::from_writer(Vec::new());
            for row in table(&found.springs, zone) {
                out.write_record(row)?;
            }
            say(String::from_utf8(out.into_inner()?)?.trim_end());
        }
        Shape::Table => {
            say(&format!("clock started {}; curve {}; times are {}", found.rule, found.curve, zone.name()));
            let rows = table(&found.springs, zone);
            let head: Vec<&str> = rows[0].iter().map(String::as_str).collect();
            say(&hand::table(&head, &rows[1..]));
            for Range { leg, n, hours: (least, middle, most) } in &found.ranges {
                say(&format!(
                    "leg {leg}: {least:.0} to {most:.0} h, {middle:.0} in the middle, of {n} springs"
                ));
            }
            say(&found.about);
        }
    }
    Ok(())
}
