//! What a block has to lend: its own start, stages and style lengths, never its
//! damage.

use super::reckon;
use super::seen::Seen;
use crate::bloom::Basis;
use crate::field_log::FieldLog;
use crate::growth::Growth;
use crate::lent::{Borrows, Lent, LentBy};
use crate::plan::Plan;
use crate::time::Instant;

/// A block that another borrows from.
pub struct Lender<'a> {
    /// Its id.
    pub id: &'a str,
    /// Its name.
    pub name: &'a str,
    /// Its plan.
    pub plan: &'a Plan,
    /// Its field log.
    pub log: &'a FieldLog,
}

impl Lender<'_> {
    /// Adds to `lent` what a block borrows of this one. Its growth, in its own air, is
    /// asked for only where the start is borrowed; a start that is merely expected is
    /// not lent, nor is anything that the lender itself has borrowed.
    pub fn lend(&self, borrows: &Borrows, lent: &mut Lent, growth: impl FnOnce() -> Growth, now: Instant) {
        let asked = |whose: &Option<String>| whose.as_deref() == Some(self.id);
        let from = || self.name.to_owned();
        let own = Plan { lent: Lent::default(), ..self.plan.clone() };
        let stand = self.log.stand(now);
        if asked(&borrows.stage) {
            let value = Seen::of(&stand).stages;
            lent.stages = (!value.is_empty()).then(|| LentBy { from: from(), value });
        }
        if asked(&borrows.style_length) {
            let value = Seen::of(&stand).style_lengths(&own).to_vec();
            lent.style_lengths_mm = (!value.is_empty()).then(|| LentBy { from: from(), value });
        }
        if asked(&borrows.start) {
            let start = reckon(&own, self.log, &growth(), now).start;
            let start = start.filter(|start| start.basis != Basis::Expected);
            lent.start = start.map(|value| LentBy { from: from(), value });
        }
    }
}
