//! Farms, sites, sources, blocks, and what all of them share.

use model::series::Kind;
use model::time::Instant;
use serde_json::Value;

use super::words;

/// An owner of blocks; the wall between one client's data and another's.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Id, given by the caller.
    pub id: String,
    /// What its people call it.
    pub name: String,
    /// Where its alerts go, one mail address each.
    pub alert_emails: Vec<String>,
    /// When it was added.
    pub created_at: Instant,
    /// When it was closed: it is only read any more.
    pub closed_at: Option<Instant>,
}

/// That a person has confirmed a material for a farm.
#[derive(Debug, Clone, PartialEq)]
pub struct Confirmed {
    /// Id, a UUIDv7.
    pub id: String,
    /// The farm.
    pub farm_id: String,
    /// The material's id.
    pub material: String,
    /// The confirmation as it was given.
    pub doc: Value,
    /// When it was given.
    pub at: Instant,
    /// When it was taken back.
    pub taken_back_at: Option<Instant>,
}

/// A point on the map with weather.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Id, given by the caller.
    pub id: String,
    /// The farm it belongs to; none for a site of the server.
    pub farm_id: Option<String>,
    /// What its people call it.
    pub name: String,
    /// Degrees, north positive.
    pub latitude: f64,
    /// Degrees, east positive.
    pub longitude: f64,
    /// Metres above sea level, where known.
    pub elevation_m: Option<f64>,
    /// IANA zone.
    pub time_zone: String,
    /// Raised with each change of its readings or forecast; 1 when added,
    /// whatever is given.
    pub version: i64,
    /// When it was added.
    pub created_at: Instant,
}

words! {
    /// The way in which a source's readings come.
    Way {
        /// Fetched from a provider.
        Feed = "feed",
        /// Uploaded as files.
        File = "file",
        /// Typed in.
        Hand = "hand",
    }
}

/// Where readings of a site come from. Its name is unique within the site.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Id, given by the caller.
    pub id: String,
    /// The site it observes.
    pub site_id: String,
    /// What its people call it.
    pub name: String,
    /// How its readings come.
    pub way: Way,
    /// The provider of a feed.
    pub provider: Option<String>,
    /// The provider's grid cell or station that a feed is fetched for; sources
    /// of several sites may share one.
    pub cell: Option<String>,
    /// What kind of observation its readings are.
    pub kind: Kind,
    /// Order of trust within the site; 1 is trusted most.
    pub trust: i64,
    /// How its files are to be read.
    pub mapping: Option<Value>,
    /// When it was added.
    pub created_at: Instant,
}

impl Source {
    /// Whether its readings are checked: all are, but those of files whose mapping
    /// says `checks = off`.
    pub fn checked(&self) -> bool {
        self.mapping.as_ref().and_then(|mapping| mapping.get("checks")).is_none_or(|checks| checks != "off")
    }
}

/// A planting of one cultivar managed as one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Id, given by the caller.
    pub id: String,
    /// The farm that owns it.
    pub farm_id: String,
    /// The site whose weather it has.
    pub site_id: String,
    /// What its people call it.
    pub name: String,
    /// Cultivar, curve, target and the rest.
    pub details: Value,
    /// Where it lies, as RFC 7946 writes it.
    pub geometry: Option<Value>,
    /// Raised with each change of its name, details or site; 1 when added,
    /// whatever is given.
    pub version: i64,
    /// When it was added.
    pub created_at: Instant,
    /// When it was archived: it is only read any more.
    pub archived_at: Option<Instant>,
}

/// A growth curve; never changed once added.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Id by which blocks name it.
    pub id: String,
    /// The curve as given.
    pub doc: Value,
    /// When it was added.
    pub at: Instant,
}

/// A spray material.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Id by which plans and sprays name it.
    pub id: String,
    /// The material as given.
    pub doc: Value,
    /// When it was added or last changed.
    pub at: Instant,
}

/// A time at another site before a block was moved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stay {
    /// The site whose temperatures were the block's.
    pub site_id: String,
    /// Until when; from then on those of the next.
    pub until: Instant,
}
