//! `import`: a station's file, or hours of an archive, into the readings of a site.

use anyhow::{Context, bail};
use model::input;
use serde_json::{Value, json};
use store::{Site, Source, Store, Way};
use uuid::Uuid;
use weather::mapping::{Mapping, Role};
use weather::station_file;

use crate::cli::{ImportArgs, say, warn};
use crate::{clock, document};

mod archive;

/// Name of the source when the mapping gives none.
const DEFAULT_NAME: &str = "station file";

/// Runs the command.
pub(crate) async fn run(args: ImportArgs) -> anyhow::Result<()> {
    if let Some(days) = &args.archive {
        return archive::run(&args, days).await;
    }
    let now = clock::system().now();
    let path = args.file.clone().context("a file is wanted")?;
    let mapping = mapping(&args)?;
    let store = Store::open(&args.database.in_force()?).await?;
    let site = site(&store, &args.site).await?;
    if site.farm_id.is_none() {
        bail!("--site: `{}` belongs to the server and takes no files, only feeds", args.site);
    }
    let file = std::fs::File::open(&path).with_context(|| format!("{} cannot be read", path.display()))?;
    let reading = mapping.clone();
    let read =
        tokio::task::spawn_blocking(move || station_file::read(std::io::BufReader::new(file), &reading, now))
            .await?
            .with_context(|| format!("{} was refused, and nothing of it stored", path.display()))?;
    let source = source(&store, &site.id, &mapping, now).await?;
    let upload = match mapping.role {
        Role::Observed => store.store_readings(&source.id, &read.readings, now).await?,
        Role::Forecast { issued_at } => {
            let forecast = model::series::Forecast { issued_at, hours: read.readings.clone() };
            store.store_fetch(&source.id, &[], Some(&forecast), now).await?
        }
    };
    for row in &read.refused {
        warn(&format!("line {}: {}", row.line, row.reason));
    }
    let rows = &read.rows;
    say(&format!(
        "{}: {} stored, {} unchanged, {} corrected, {} refused; {} without a value, {} of other rows passed over",
        path.display(),
        upload.stored,
        upload.unchanged,
        upload.corrected,
        rows.refused,
        rows.missing,
        rows.filtered
    ));
    store.close().await?;
    Ok(())
}

async fn site(store: &Store, id: &str) -> anyhow::Result<Site> {
    store.site(id).await?.with_context(|| format!("--site: there is no site `{id}`"))
}

fn mapping(args: &ImportArgs) -> anyhow::Result<Mapping> {
    let path = args.mapping.as_deref().context("--mapping is wanted: what the columns mean")?;
    let document = document::read(path)?;
    // The table itself, or a season file's [weather].
    let table: &Value = document.get("weather").unwrap_or(&document);
    input::read(table, Mapping::from_fields).with_context(|| format!("{} has faults", path.display()))
}

/// The site's file source of the mapping's name, made when it is not there; it
/// remembers the mapping.
async fn source(
    store: &Store,
    site_id: &str,
    mapping: &Mapping,
    now: model::time::Instant,
) -> anyhow::Result<Source> {
    let name = mapping.name.clone().unwrap_or_else(|| DEFAULT_NAME.to_owned());
    let known = store.sources_of(site_id).await?;
    let document = mapping.to_json();
    if let Some(source) = known.iter().find(|source| source.name == name) {
        if source.way != Way::File {
            bail!("source `{name}` of this site is not fed by files; give the mapping another `name`");
        }
        if source.mapping.as_ref() != Some(&document) {
            store.set_mapping(source, &document).await?;
        }
        return Ok(source.clone());
    }
    let source = Source {
        id: Uuid::now_v7().to_string(),
        site_id: site_id.to_owned(),
        name,
        way: Way::File,
        provider: None,
        cell: None,
        kind: mapping.reading_kind,
        trust: known.iter().map(|source| source.trust).max().unwrap_or(0) + 1,
        mapping: Some(json!(document)),
        created_at: now,
    };
    store.add_source(&source).await?;
    Ok(source)
}
