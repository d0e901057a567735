//! What stands beside a season.

use store::{Block, Source};

use super::{Unseen, View};
use crate::slots::Looked;

impl View {
    /// The hours to spray in around the marks ahead, each with what speaks against it.
    ///
    /// # Errors
    /// As [`View::season`], and when there is no such season.
    pub async fn slots(&self, block: &Block, year: i32) -> Result<Looked, Unseen> {
        Ok(self.visit.slots(block.clone(), year).await?)
    }

    /// The sources of a site, the most trusted first, each with whom to credit.
    ///
    /// # Errors
    /// When the database cannot say.
    pub async fn sources(&self, site_id: &str) -> Result<Vec<(Source, Option<&'static str>)>, Unseen> {
        let sources = self.store().sources_of(site_id).await?;
        let credited = |source: Source| {
            let credit = self.visit.attribution(&source);
            (source, credit)
        };
        Ok(sources.into_iter().map(credited).collect())
    }
}
