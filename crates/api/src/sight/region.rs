//! A region at one look.

use super::{Unseen, View};
use crate::news::News;

impl View {
    /// What happened since yesterday evening on a farm, or on all that the caller sees; of
    /// alerts and of what people did at most so many each, the latest.
    ///
    /// # Errors
    /// When the database cannot say.
    pub async fn news(&self, farm: Option<&str>, most: u32) -> Result<News, Unseen> {
        Ok(self.visit.news(None, farm, most).await?)
    }
}
