//! People, sign-in, tokens, the throttle, and who may do what.
//!
//! Every secret has 256 random bits, is shown once and kept as its hash. What a
//! person may do hangs on their role on a farm, see [`Caller::may`]; operators
//! run the server and see all farms.

mod calendar;
mod caller;
pub mod link;
pub mod password;
mod secret;
pub mod sign_in;
mod token;

pub use calendar::{calendar_of, new_calendar};
pub use caller::{Caller, Deed, Denied, bearer, signed_in};
pub use secret::{NoRandom, hook_secret, looks_like_token};
pub use token::{MakeError, Wanted, first_token, new_token};
