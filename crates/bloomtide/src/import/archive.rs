//! `import --archive`: the hours of past seasons, from Open-Meteo's archive.

use anyhow::{Context, bail};
use chrono::NaiveDate;
use model::series::Reading;
use model::time::{DAY, Instant};
use store::{Site, Source, Store};
use weather::feeds::open_meteo::{self, MOST_ARCHIVE_DAYS};
use weather::feeds::{CellRequest, Feed};

use crate::cli::{ImportArgs, say};
use crate::settings::{Given, Settings};
use crate::{clock, house};

/// Days of one variable that count as a tenth of a request.
const DAYS_OF_A_TENTH: i64 = 14;

/// Fills what the site's source of the provider lacks between two days; readings
/// that it has stay as they are.
pub(super) async fn run(args: &ImportArgs, days: &str) -> anyhow::Result<()> {
    let (from, to) = read_days(days)?;
    let settings = Settings::from(&Given::of(&args.database))?;
    let Some(feed) = house::open_meteo(&settings)? else {
        bail!("--archive asks open-meteo, which --feeds does not name");
    };
    if settings.open_meteo_archive_url.is_none() {
        bail!(
            "--archive: --open-meteo-url names another server; name its archive with --open-meteo-archive-url"
        );
    }
    let now = clock::system().now();
    let store = Store::open(&settings.database).await?;
    let site = super::site(&store, &args.site).await?;
    let (source, cell, shift) = source(&store, &site).await?;
    let (mut begin, to) = (from, to.min(now));
    let mut stored = 0;
    while begin < to {
        let end = to.min(begin.plus(MOST_ARCHIVE_DAYS * DAY)).plus(-1);
        let cost = (end.since(begin) / (DAYS_OF_A_TENTH * DAY) / 10 + 1).unsigned_abs();
        if let Some(free_at) = store.spend(open_meteo::PROVIDER, cost, feed.limits(), now).await? {
            bail!(
                "the provider's budget is spent until {free_at}; run this again then, it goes on from there"
            );
        }
        let mut readings = feed.archive(&cell, begin, end, now).await?;
        let held = store.readings(&site.id, begin, end).await?;
        let held = held.iter().find(|(held, _)| held.id == source.id).map_or(&[][..], |(_, held)| held);
        let lacking = |reading: &Reading| held.binary_search_by_key(&reading.at, |held| held.at).is_err();
        readings.retain(lacking);
        readings.iter_mut().for_each(|reading| reading.celsius += shift);
        stored += store.store_readings(&source.id, &readings, now).await?.stored;
        say(&format!("up to {}: {stored} hours stored that were lacking", end.utc().format("%Y-%m-%d")));
        begin = end.plus(1);
    }
    store.close().await?;
    Ok(())
}

/// `2013-04-01..2013-05-31`, both included, as days of UTC.
fn read_days(text: &str) -> anyhow::Result<(Instant, Instant)> {
    let day = |text: &str| {
        let day: NaiveDate = text.trim().parse().ok()?;
        Some(Instant(day.and_hms_opt(0, 0, 0)?.and_utc().timestamp()))
    };
    let days = text.split_once("..").and_then(|(from, to)| Some((day(from)?, day(to)?.plus(DAY))));
    let (from, to) =
        days.with_context(|| format!("--archive: `{text}` is not two days like 2013-04-01..2013-05-31"))?;
    if from >= to {
        bail!("--archive: `{text}` ends before it begins");
    }
    Ok((from, to))
}

/// The site's source of the provider, the place that it is asked for, and what to
/// add to a temperature of that place.
async fn source(store: &Store, site: &Site) -> anyhow::Result<(Source, CellRequest, f64)> {
    let provider = open_meteo::PROVIDER;
    let sources = store.sources_of(&site.id).await?;
    let source = sources.into_iter().find(|source| source.provider.as_deref() == Some(provider));
    let source = source.with_context(|| {
        format!(
            "site `{}` has no source of {provider}: add one first, so that its hours are credited",
            site.id
        )
    })?;
    let place =
        engine::fetch::place(site).with_context(|| format!("site `{}` has no known zone", site.id))?;
    let cell = place.grid_cell();
    let shift = place.correction_from(&cell);
    let request = CellRequest {
        cell: cell.key,
        latitude: cell.latitude,
        longitude: cell.longitude,
        elevation_m: cell.elevation_m,
        memory: None,
    };
    Ok((source, request, shift))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_both_included() {
        let (from, to) = read_days("2013-04-01..2013-05-31").unwrap();
        assert_eq!(
            (from.to_string(), to.to_string()),
            ("2013-04-01T00:00:00Z".into(), "2013-06-01T00:00:00Z".into())
        );
        assert_eq!(read_days("2013-04-01..2013-04-01").unwrap().1.since(from), DAY);
        for wrong in ["2013-04-01", "2013-04-02..2013-04-01", "april..may"] {
            assert!(read_days(wrong).unwrap_err().to_string().contains(wrong), "{wrong}");
        }
    }
}
