//! What was agreed for one block and year: sprays with their marks.

use std::sync::Arc;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::block::Block;
use crate::catalogue::Catalogue;
use crate::cultivar::Cultivar;
use crate::input::{self, Faults, Fields};
use crate::lent::Lent;
use crate::materials::{Material, Rate};
use crate::pollination::FEWEST_HOURS;
use crate::record::Confirmation;
use crate::slot::Limits;
use crate::time::Instant;
use crate::verdict::Table;

/// Smallest and largest mark, as a share of the style.
pub const MARKS: (f64, f64) = (0.05, 1.5);
/// Most sprays that one plan takes.
pub const MOST_SPRAYS: usize = 12;

/// Kind of a farm's own table that says whether to thin.
pub const VERDICT_TABLE: &str = "verdict";
/// Under which name the store keeps a farm's own limits of the hours to spray in.
pub const SLOT_LIMITS: &str = "slot-limits";

/// Which side of the mark the spray must stay on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MarkBound {
    /// Earlier, the spray takes wanted flowers.
    NotBefore,
    /// Later, flowers that no one wants come through.
    NotAfter,
}

impl MarkBound {
    /// The word under which it is written.
    pub fn word(self) -> &'static str {
        match self {
            MarkBound::NotBefore => "not-before",
            MarkBound::NotAfter => "not-after",
        }
    }

    /// The words for it, before the mark or its time.
    pub fn spoken(self) -> &'static str {
        match self {
            MarkBound::NotBefore => "not before",
            MarkBound::NotAfter => "not after",
        }
    }
}

/// One spray of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedSpray {
    /// Material by its id.
    pub material: String,
    /// Share of the style at which it is due.
    pub mark: f64,
    /// Side of the mark to stay on.
    pub bound: MarkBound,
    /// How much of it, where that was agreed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<Rate>,
}

/// Numbers that an advisor may set, with what they are by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Days since the last leg opened after which a season is closed.
    pub age_days: i64,
    /// How far beyond the mark a leg is overrun, as a share of the style.
    pub overrun_margin: f64,
    /// Hours before the likely mark at which a heads-up is sent.
    pub lead_hours: i64,
    /// Hours fit for bees without which a leg's tubes may be behind.
    pub fewest_bee_hours: f64,
    /// Hours within which a new reading is to come where only files or hands bring
    /// them; without one while a leg runs, people are told.
    pub readings_within_hours: i64,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            age_days: 21,
            overrun_margin: 0.25,
            lead_hours: 24,
            fewest_bee_hours: FEWEST_HOURS,
            readings_within_hours: 26,
        }
    }
}

/// What a plan document says: `{"sprays": […]}` with any settings beside.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Agreed {
    /// The sprays in order.
    pub sprays: Vec<PlannedSpray>,
    /// Numbers that an advisor may set.
    pub settings: Settings,
}

impl Agreed {
    /// Reads a plan document.
    pub fn from_fields(fields: &Fields<'_>) -> Agreed {
        Agreed { sprays: sprays(fields, "sprays"), settings: settings(fields) }
    }
}

/// The sprays as they were agreed at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Version {
    /// When they were agreed.
    pub set_at: Instant,
    /// The sprays in order.
    pub sprays: Vec<PlannedSpray>,
}

/// All that a season is reckoned from beside field log and growth.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Bloom year; when not said it is that of the start.
    pub year: Option<i32>,
    /// Zone of the block's wall clock.
    pub zone: Tz,
    /// The block as it stands.
    pub block: Block,
    /// The sprays in order; leg k has the mark of the k-th.
    pub sprays: Vec<PlannedSpray>,
    /// Every version that the plan has had, this one last; empty when it was
    /// never changed.
    pub versions: Vec<Version>,
    /// Materials known here.
    pub materials: Arc<Vec<Material>>,
    /// Numbers that an advisor may set.
    pub settings: Settings,
    /// What is known of the cultivar.
    pub cultivar: Arc<Cultivar>,
    /// The table that says whether to thin.
    pub table: Arc<Table>,
    /// Limits of the hours to spray in.
    pub slot_limits: Arc<Limits>,
    /// What other blocks lend this one.
    pub lent: Lent,
    /// Who has confirmed which material for this farm.
    pub confirmed: Vec<Confirmation>,
}

impl Plan {
    /// What was agreed for a block, with what ships.
    pub fn of(year: Option<i32>, zone: Tz, block: Block, agreed: Agreed, catalogue: &Catalogue) -> Plan {
        Plan {
            year,
            zone,
            cultivar: Arc::new(catalogue.rules.cultivars.of(&block.cultivar)),
            block,
            sprays: agreed.sprays,
            versions: Vec::new(),
            materials: catalogue.materials.clone(),
            settings: agreed.settings,
            table: catalogue.rules.verdict.clone(),
            slot_limits: catalogue.rules.slots.clone(),
            lent: Lent::default(),
            confirmed: Vec::new(),
        }
    }

    /// The same under a farm's own tables, each by its kind, and what it has
    /// confirmed. What does not read back is left out: it was taken once, by other
    /// rules.
    #[must_use]
    pub fn under(mut self, tables: &[(String, Value)], confirmed: &[Value]) -> Plan {
        let own = tables.iter().find(|(kind, _)| kind == VERDICT_TABLE);
        if let Some(table) = own.and_then(|(_, document)| Table::read(document).ok()) {
            self.table = Arc::new(table);
        }
        let own = tables.iter().find(|(kind, _)| kind == SLOT_LIMITS);
        if let Some(limits) = own.and_then(|(_, document)| Limits::read(document).ok()) {
            self.slot_limits = Arc::new(limits);
        }
        self.confirmed = confirmed
            .iter()
            .filter_map(|document| input::read(document, Confirmation::from_fields).ok())
            .collect();
        self
    }

    /// The planned materials that nobody has confirmed.
    pub fn unconfirmed(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for name in self.sprays.iter().map(|spray| spray.material.as_str()) {
            if !names.contains(&name) && !self.confirmed.iter().any(|confirmed| confirmed.covers(name)) {
                names.push(name);
            }
        }
        names
    }

    /// Puts a plan together from its documents: the block's fields, and
    /// `{"sprays": […]}` with any settings, when a plan was made.
    ///
    /// # Errors
    /// All faults; those of the block under `/block`, of the plan under
    /// `/plan`.
    pub fn assemble(
        year: Option<i32>,
        zone: Tz,
        block: &Value,
        plan: Option<&Value>,
        catalogue: &Catalogue,
    ) -> Result<Plan, Faults> {
        let document = serde_json::json!({"block": block, "plan": plan});
        input::read(&document, |fields| {
            let block = fields.table("block").and_then(|fields| {
                let block = Block::from_fields(&fields, &catalogue.curves);
                fields.refuse_unknown();
                block
            });
            let agreed = match fields.table("plan") {
                Some(fields) => {
                    let agreed = Agreed::from_fields(&fields);
                    fields.refuse_unknown();
                    agreed
                }
                None => Agreed::default(),
            };
            Some(Plan::of(year, zone, block?, agreed, catalogue))
        })
    }

    /// Live open flowers a tree at which the clock starts.
    pub fn threshold(&self) -> f64 {
        self.block.start_factor * self.block.target_fruit_per_tree
    }

    /// The same plan with every version it has had, the first one first. One
    /// that does not read back is left out: it was taken once, by other rules.
    #[must_use]
    pub fn with_versions<'a>(self, documents: impl IntoIterator<Item = (Instant, &'a Value)>) -> Plan {
        let version = |(set_at, document): (Instant, &Value)| {
            let agreed = input::read(document, |fields| Some(Agreed::from_fields(fields)));
            agreed.ok().map(|agreed| Version { set_at, sprays: agreed.sprays })
        };
        Plan { versions: documents.into_iter().filter_map(version).collect(), ..self }
    }

    /// What was planned for the leg of that index when its spray went on: a
    /// change of the plan holds for legs not yet sprayed. For a spray from before
    /// the first version that one stands.
    pub fn when_sprayed(&self, index: usize, at: Instant) -> Option<&PlannedSpray> {
        let held = self.versions.iter().rev().find(|version| version.set_at <= at);
        let sprays = held.or(self.versions.first()).map_or(&self.sprays, |version| &version.sprays);
        sprays.get(index)
    }

    /// Whether the plan names a material, or once did.
    pub fn names(&self, material: &str) -> bool {
        let earlier = self.versions.iter().flat_map(|version| &version.sprays);
        self.sprays.iter().chain(earlier).any(|spray| spray.material == material)
    }
}

/// Reads the sprays of a plan from the list `name`.
pub fn sprays(fields: &Fields<'_>, name: &'static str) -> Vec<PlannedSpray> {
    let mut leg = 0;
    let sprays = fields.tables(name, |spray| {
        leg += 1;
        let material = spray.required_text("material");
        let mark = if spray.require("mark") { spray.number("mark", MARKS.0, MARKS.1) } else { None };
        let bound = match spray.word("bound", &["not-before", "not-after"]) {
            Some("not-before") => MarkBound::NotBefore,
            Some(_) => MarkBound::NotAfter,
            None if leg == 1 => MarkBound::NotBefore,
            None => MarkBound::NotAfter,
        };
        let rate = if Rate::asked(spray) { Rate::from_fields(spray) } else { None };
        Some(PlannedSpray { material: material?, mark: mark?, bound, rate })
    });
    if sprays.len() > MOST_SPRAYS {
        fields.fault(name, format!("has more than {MOST_SPRAYS} sprays"));
    }
    sprays
}

/// Reads the settings an advisor may give beside the sprays.
pub fn settings(fields: &Fields<'_>) -> Settings {
    let default = Settings::default();
    Settings {
        age_days: fields.whole("age_days", 1, 120).unwrap_or(default.age_days),
        overrun_margin: fields.number("overrun_margin", 0.0, 2.0).unwrap_or(default.overrun_margin),
        lead_hours: fields.whole("lead_hours", 1, 120).unwrap_or(default.lead_hours),
        fewest_bee_hours: fields.number("fewest_bee_hours", 0.0, 100.0).unwrap_or(default.fewest_bee_hours),
        readings_within_hours: fields
            .whole("readings_within_hours", 1, 240)
            .unwrap_or(default.readings_within_hours),
    }
}
