//! `import`: a station's file, or hours of an archive, into the readings of a site.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use anyhow::{Context, bail};
use model::input;
use serde_json::{Value, json};
use store::{Site, Source, Store, Way};
use uuid::Uuid;
use weather::layout::{self, Layout};
use weather::mapping::Role;

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
    let given = given(&args)?;
    let store = Store::open(&args.database.in_force()?).await?;
    let site = site(&store, &args.site).await?;
    if site.farm_id.is_none() {
        bail!("--site: `{}` belongs to the server and takes no files, only feeds", args.site);
    }
    let told = given.is_none();
    let layout = match given {
        Some(layout) => layout,
        None => recognised(&path, &site, args.dry_run)?,
    };
    if args.dry_run {
        let report = tokio::task::spawn_blocking(move || {
            let understood = layout::understand(open(&path)?, &layout, now).map_err(anyhow::Error::from)?;
            anyhow::Ok(understood.1)
        });
        say(&serde_json::to_string_pretty(
            &report.await?.context("it would be refused, and nothing of it stored")?,
        )?);
        return Ok(());
    }
    let (reading, file) = (layout.clone(), path.clone());
    let read = tokio::task::spawn_blocking(move || {
        layout::read(open(&file)?, &reading, now).map_err(anyhow::Error::from)
    })
    .await?
    .with_context(|| format!("{} was refused, and nothing of it stored", path.display()))?;
    let source = source(&store, &site.id, (&layout, told, args.source.as_deref()), now).await?;
    let upload = match layout.role() {
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

fn open(path: &Path) -> anyhow::Result<BufReader<File>> {
    let file = File::open(path).with_context(|| format!("{} cannot be read", path.display()))?;
    Ok(BufReader::new(file))
}

/// The layout as the file tells it, with how, on stderr. What is a guess is
/// refused, unless nothing is to be kept.
fn recognised(path: &Path, site: &Site, dry_run: bool) -> anyhow::Result<Layout> {
    let mut head = Vec::new();
    open(path)?.take(layout::HEAD_BYTES as u64).read_to_end(&mut head)?;
    let name = path.file_name().and_then(|name| name.to_str());
    let told = match layout::recognise(&head, name, &json!({}), model::time::zone(&site.time_zone).ok()) {
        Ok(told) => told,
        Err(unclear) => {
            for told in &unclear.told {
                warn(&format!("{} = {} ({})", told.key, told.value, told.how));
            }
            bail!(
                "how {} is to be read does not follow from it; give a --mapping with it: {unclear}",
                path.display()
            );
        }
    };
    for one in &told.told {
        warn(&format!("{} = {} ({})", one.key, one.value, one.how));
    }
    for doubt in &told.doubts {
        warn(&format!("a guess: {}: {}", doubt.key, doubt.detail));
    }
    if !told.doubts.is_empty() && !dry_run {
        bail!("nothing was stored, since part of this is a guess; give a --mapping that settles it");
    }
    Ok(told.layout)
}

async fn site(store: &Store, id: &str) -> anyhow::Result<Site> {
    store.site(id).await?.with_context(|| format!("--site: there is no site `{id}`"))
}

/// The layout of `--mapping`, if one is given.
fn given(args: &ImportArgs) -> anyhow::Result<Option<Layout>> {
    let Some(path) = args.mapping.as_deref() else { return Ok(None) };
    let document = document::read(path)?;
    // The table itself, or a season file's [weather].
    let table: &Value = document.get("weather").unwrap_or(&document);
    let read = input::read(table, Layout::from_fields);
    Ok(Some(read.with_context(|| format!("{} has faults", path.display()))?))
}

/// The site's file source of that name, or of the mapping's, made when it is not there; it
/// remembers the mapping.
async fn source(
    store: &Store,
    site_id: &str,
    (layout, told, named): (&Layout, bool, Option<&str>),
    now: model::time::Instant,
) -> anyhow::Result<Source> {
    let name = named.or(layout.name()).unwrap_or(DEFAULT_NAME).to_owned();
    let known = store.sources_of(site_id).await?;
    let document = layout.to_json();
    if let Some(source) = known.iter().find(|source| source.name == name) {
        if source.way != Way::File {
            bail!("source `{name}` of this site is not fed by files; give the mapping another `name`");
        }
        if source.mapping.as_ref() != Some(&document) {
            if told {
                bail!(
                    "the files of source `{name}` are laid out otherwise than this one: name its own source with --source, or give a --mapping"
                );
            }
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
        kind: layout.reading_kind(),
        trust: known.iter().map(|source| source.trust).max().unwrap_or(0) + 1,
        mapping: Some(json!(document)),
        created_at: now,
    };
    store.add_source(&source).await?;
    Ok(source)
}
