//! Whether the blocks that another borrows from are there to borrow from.

use model::input::{Fault, Faults};
use serde_json::Value;

use crate::desk::Visit;
use crate::problem::Problem;

impl Visit {
    /// Refuses a lender that is no other block of the same farm, at its field.
    pub(crate) async fn lenders_of(
        &self,
        farm_id: &str,
        block_id: Option<&str>,
        details: &Value,
    ) -> Result<(), Problem> {
        let borrows = details.get("borrows").and_then(Value::as_object);
        let mut faults = Vec::new();
        for (what, lender) in borrows.into_iter().flatten() {
            let Some(lender) = lender.as_str() else { continue };
            let block = self.store.block(lender).await?;
            if !block.is_some_and(|block| block.farm_id == farm_id && Some(lender) != block_id) {
                faults.push(Fault {
                    pointer: format!("/borrows/{what}"),
                    detail: format!("there is no other block `{lender}` on this farm to borrow from"),
                });
            }
        }
        if faults.is_empty() { Ok(()) } else { Err(Faults(faults).into()) }
    }
}
