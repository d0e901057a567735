//! A site's weather over some days as pages draw it.

use model::series::{Forecast, Reading, Series};
use model::time::Instant;
use store::{Site, Source};
use weather::checks;

use super::{Unseen, View};

/// What a site's sources read, checked and joined.
pub struct Air {
    /// The sources, the most trusted first.
    pub sources: Vec<AirSource>,
    /// The newest forecast with the place of its source among the sources, where any
    /// of them has one.
    pub forecast: Option<(usize, Forecast)>,
    /// The one temperature that is made of them.
    pub joined: Series,
}

/// One source.
pub struct AirSource {
    /// The source.
    pub source: Source,
    /// Its readings with the flags that checking gave, by time.
    pub readings: Vec<Reading>,
    /// Those in which checking found something, by time.
    pub doubted: Vec<Doubted>,
}

/// A reading in which checking found something.
pub struct Doubted {
    /// The reading with its flag.
    pub reading: Reading,
    /// The check's word, such as `spike`.
    pub check: &'static str,
    /// A sentence with its figures.
    pub detail: String,
}

impl View {
    /// A site's weather from a moment up to now, checked amid the weeks before.
    ///
    /// # Errors
    /// When the database cannot say.
    pub async fn air(&self, site: &Site, from: Instant) -> Result<Air, Unseen> {
        let now = self.now();
        let mut weather = self.store().site_weather(&site.id, from.plus(-checks::BEFORE), now).await?;
        let read = std::mem::take(&mut weather.sources);
        let (mut sources, found) = self.visit.checked(read).await?;
        for (_, readings) in &mut sources {
            readings.retain(|reading| reading.at >= from);
        }
        weather.sources = sources;
        let joined = Series::join(&weather.by_trust(), weather.forecast.as_ref(), now);
        let latest = self.store().latest_forecast(&site.id).await?;
        let forecast = latest.and_then(|(id, forecast)| {
            Some((weather.sources.iter().position(|(source, _)| source.id == id)?, forecast))
        });
        let with_faults = |(place, (source, readings)): (usize, (Source, Vec<Reading>))| {
            let doubted = readings.iter().filter_map(|reading| {
                let fault = found.faults(place, reading.at).first()?;
                let (check, detail) = (fault.check.word(), fault.detail.clone());
                Some(Doubted { reading: *reading, check, detail })
            });
            AirSource { doubted: doubted.collect(), source, readings }
        };
        let sources = weather.sources.into_iter().enumerate().map(with_faults).collect();
        Ok(Air { sources, forecast, joined })
    }
}
