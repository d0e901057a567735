//! Cautions in the words that people are shown.

/// The short form that each plan, alert and spray page carries.
pub const CAUTION: &str = "Read and follow the label: it is the law. \
Local registration and licensed advice come first. This is an estimate.";

/// Until someone has confirmed a material for a block, this goes with it.
pub const UNCONFIRMED: &str = "No one has confirmed here that this material is registered for this use \
where you are, nor that its label allows use in bloom. Check both before it goes into a tank.";

/// No re-entry time is recorded.
pub const NO_REENTRY: &str = "No re-entry time is recorded for this block: \
go by the label before anyone goes in.";

/// Neither curve that ships was measured on one cultivar.
pub const NOT_CULTIVAR_SPECIFIC: &str = "This curve was put together from general figures, not measured on this \
cultivar; the two curves that ship lie up to half a day apart in a real spring.";
