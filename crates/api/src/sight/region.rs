//! A region at one look.

use super::{Unseen, View};
use crate::news::News;

impl View {
    /// What happened since yesterday evening on a farm, or on all that the caller sees.
    ///
    /// # Errors
    /// When the database cannot say.
    pub async fn news(&self, farm: Option<&str>) -> Result<News, Unseen> {
        Ok(self.visit.news(None, farm).await?)
    }
}
