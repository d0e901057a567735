//! A season file: site, weather, block, plan and log of one season.

use std::path::{Path, PathBuf};

use anyhow::Context;
use model::block::Block;
use model::catalogue::Catalogue;
use model::field_log::{Entry, FieldLog};
use model::input::{self, Fields};
use model::lent::Lent;
use model::plan::{self, Agreed, Plan};
use model::series::{Forecast, Reading};
use model::site::Place;
use model::time::Instant;
use weather::checks::{self, Findings, Thresholds};
use weather::layout::{self, Layout};
use weather::mapping::Role;

use crate::document;

/// What a season file says, with the readings of the files that it names.
pub(crate) struct SeasonFile {
    /// Where it is.
    pub(crate) place: Place,
    /// What was agreed.
    pub(crate) plan: Plan,
    /// What was logged.
    pub(crate) log: FieldLog,
    /// The observing sources, the most trusted first.
    pub(crate) sources: Vec<Observed>,
    /// Forecasts in the order of the file.
    pub(crate) forecasts: Vec<Forecast>,
    /// Rows of the weather files that were refused, one sentence each.
    pub(crate) refused: Vec<String>,
}

/// An observing source of a season file.
pub(crate) struct Observed {
    /// Its name, or else that of its file.
    pub(crate) name: String,
    /// Whether its readings are checked.
    pub(crate) checked: bool,
    /// Its readings.
    pub(crate) readings: Vec<Reading>,
}

struct Head {
    place: Place,
    plan: Plan,
    entries: Vec<Entry>,
    weather: Vec<Layout>,
}

/// Rows refused that are named one by one; the rest is counted.
const REFUSED_SHOWN: usize = 10;

impl SeasonFile {
    /// Reads a season file and the weather files beside it.
    pub(crate) fn read(path: &Path, catalogue: &Catalogue) -> anyhow::Result<SeasonFile> {
        let document = document::read(path)?;
        let head = input::read(&document, |fields| Head::from_fields(fields, catalogue))
            .with_context(|| format!("{} has faults", path.display()))?;
        let log = FieldLog::in_order(head.entries).with_context(|| format!("{}: /log", path.display()))?;
        let mut file = SeasonFile {
            place: head.place,
            plan: head.plan,
            log,
            sources: Vec::new(),
            forecasts: Vec::new(),
            refused: Vec::new(),
        };
        let folder = path.parent().unwrap_or(Path::new("."));
        for layout in &head.weather {
            file.take_weather(folder, layout)?;
        }
        Ok(file)
    }

    fn take_weather(&mut self, folder: &Path, layout: &Layout) -> anyhow::Result<()> {
        let path: PathBuf = folder.join(layout.file().unwrap_or_default());
        let bytes = std::fs::read(&path)
            .with_context(|| format!("weather file {} cannot be read", path.display()))?;
        // No clock is read here, so no reading counts as lying in the future.
        let read = layout::read(bytes.as_slice(), layout, Instant::MAX)
            .with_context(|| format!("weather file {}", path.display()))?;
        let shown = read.refused.iter().take(REFUSED_SHOWN);
        self.refused.extend(shown.map(|row| format!("{} line {}: {}", path.display(), row.line, row.reason)));
        if let Some(more) = read.refused.len().checked_sub(REFUSED_SHOWN).filter(|more| *more > 0) {
            self.refused.push(format!("{}: {more} more rows were refused", path.display()));
        }
        match layout.role() {
            Role::Observed => self.sources.push(Observed {
                name: layout.name().or(layout.file()).unwrap_or_default().to_owned(),
                checked: layout.checks(),
                readings: read.readings,
            }),
            Role::Forecast { issued_at } => self.forecasts.push(Forecast { issued_at, hours: read.readings }),
        }
        Ok(())
    }

    /// The latest forecast that was issued by `now`.
    pub(crate) fn forecast(&self, now: Instant) -> Option<&Forecast> {
        self.forecasts
            .iter()
            .filter(|forecast| forecast.issued_at <= now)
            .max_by_key(|forecast| forecast.issued_at)
    }

    /// The readings of all sources.
    pub(crate) fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.sources.iter().flat_map(|source| &source.readings)
    }

    /// Checks the readings, where that is wanted, as they are known at `now`; gives
    /// what was found.
    pub(crate) fn check(&mut self, now: Instant, thresholds: &Thresholds) -> Findings {
        let sources = self.sources.iter_mut();
        let sources = sources.map(|Observed { name, checked, readings }| (name.as_str(), *checked, readings));
        checks::mark(sources, now, thresholds)
    }

    /// The later of the last reading and the last entry.
    pub(crate) fn end(&self) -> Option<Instant> {
        let reading = self.readings().map(|reading| reading.at).max();
        reading.max(self.log.end())
    }
}

impl Head {
    fn from_fields(fields: &Fields<'_>, catalogue: &Catalogue) -> Option<Head> {
        let year = fields.whole("year", 1900, 2199).and_then(|year| i32::try_from(year).ok());
        let place = table(fields, "site", Place::from_fields);
        let block = table(fields, "block", |fields| Block::from_fields(fields, &catalogue.curves));
        let settings = if fields.has("settings") {
            table(fields, "settings", |fields| Some(plan::settings(fields)))
        } else {
            Some(plan::Settings::default())
        };
        fields.require("weather");
        let weather = fields.tables("weather", |source| {
            source.required_text("file");
            Layout::from_fields(source)
        });
        let sprays = plan::sprays(fields, "plan");
        let mut number = 0;
        let entries = fields.tables("log", |entry| {
            number += 1;
            Entry::from_fields(entry, Some(&format!("entry-{number:04}")))
        });
        let lent = fields.table("lent").map(|table| {
            let lent = Lent::from_fields(&table);
            table.refuse_unknown();
            lent
        });
        let place = place?;
        let agreed = Agreed { sprays, settings: settings? };
        let plan = Plan::of(year, place.zone, block?, agreed, catalogue);
        Some(Head { plan: Plan { lent: lent.unwrap_or_default(), ..plan }, place, entries, weather })
    }
}

fn table<T>(
    fields: &Fields<'_>,
    name: &'static str,
    read: impl FnOnce(&Fields<'_>) -> Option<T>,
) -> Option<T> {
    if !fields.require(name) {
        return None;
    }
    let inner = fields.table(name)?;
    let built = read(&inner);
    inner.refuse_unknown();
    built
}
