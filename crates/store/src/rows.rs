//! The rows that go into the store and come out of it.
//!
//! Ids are text given by the caller (UUIDv7 in the service). Documents are
//! JSON that the store keeps and compares but does not look into.

mod alerts;
mod calendars;
mod contacts;
mod figures;
mod hooks;
mod outbox;
mod people;
mod places;
mod season;
mod weather;
mod word;

pub use alerts::{AlertRow, AlertStatus, AlertWrite};
pub use calendars::{Calendar, CalendarSeason};
pub use contacts::{Addressed, Contact, Mute, Notice, Silence, Silenced};
pub use figures::Figures;
pub use hooks::{CallEnd, CallState, Hook, HookCall, HookSecret, LeasedCall};
pub use outbox::{
    Carried, Failed, Item, ItemShown, Journaled, LeasedMessage, Message, MessageState, Purpose, Uncomposed,
    Undelivered,
};
pub use people::{
    Answer, Asked, Audit, AuditPart, Behalf, Credential, CredentialKind, Link, LinkKind, Membership, Person,
    Role, Scope,
};
pub use places::{Block, Confirmed, Curve, Farm, Material, Site, Source, Stay, Way};
pub use season::{
    Appended, BoardRow, Change, ChangeKey, Expectation, Expected, Lender, LogEntry, PlanRow, Reckoned,
    ReckonedState, SeasonRow, Stale, StaleKey, Versions,
};
pub use weather::{
    Brought, Cell, Earlier, Fetched, Issue, LeasedCell, Members, ProviderState, SiteWeather, SourceState,
    TakenFile, Upload, for_checks,
};
pub use word::Word;

/// A word enum that is kept as text.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $name { $($(#[$variant_doc])* $variant,)+ }

        impl $name {
            /// The word under which it is stored and shown.
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word,)+ }
            }

            /// The one of that word.
            pub fn named(word: &str) -> Option<$name> {
                match word { $($word => Some($name::$variant),)+ _ => None }
            }
        }
    };
}
pub(crate) use words;
