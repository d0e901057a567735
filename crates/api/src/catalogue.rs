//! The curves and materials that blocks and plans may name: those that ship,
//! and behind them those that users added.

use model::catalogue::Catalogue;

use crate::desk::Visit;
use crate::problem::Problem;

impl Visit {
    /// Everything known at this moment. What shipped holds against an own one
    /// of the same id.
    pub(crate) async fn catalogue(&self) -> Result<Catalogue, Problem> {
        let store = &self.store;
        let (curves, materials) = (store.curves().await?, store.materials().await?);
        let (whole, unread) = self.app.catalogue.and_added(
            curves.iter().map(|row| (row.id.as_str(), &row.doc)),
            materials.iter().map(|row| (row.id.as_str(), &row.doc)),
        );
        for unread in unread {
            tracing::error!("{unread}");
        }
        Ok(whole)
    }
}
