//! Curves and materials: those that ship, and those that were added.

use model::catalogue::Catalogue;
use store::Store;

use crate::PassError;

/// What ships with what was added behind it.
///
/// # Errors
/// When the database fails.
pub async fn whole(shipped: &Catalogue, store: &Store) -> Result<Catalogue, PassError> {
    let (curves, materials) = (store.curves().await?, store.materials().await?);
    let (whole, unread) = shipped.and_added(
        curves.iter().map(|row| (row.id.as_str(), &row.doc)),
        materials.iter().map(|row| (row.id.as_str(), &row.doc)),
    );
    for unread in unread {
        tracing::error!("{unread}");
    }
    Ok(whole)
}
