//! What a cultivar brings to the decision: how many buds a fruit needs, whether
//! it bears every other year, and where thinning is not worth its risk.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::input::{self, Fault, Faults, Fields};

mod figure;
pub use figure::{Figure, Status};

/// The row for whatever is not listed; it has every figure.
const DEFAULT: &str = "default";
/// The row between it and each cultivar that bears every other year.
const BIENNIAL: &str = "biennial";

/// One cultivar, with every figure filled in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cultivar {
    /// Its name, as listed, or as it was asked for when it is not listed.
    pub name: String,
    /// Whether it is listed; else all figures are the default's.
    pub listed: bool,
    /// Whether it bears every other year.
    pub biennial: bool,
    /// Flower buds to keep for each fruit wanted.
    pub buds_per_fruit: Figure,
    /// Live flowers for each fruit wanted, at and below which thinning is stood
    /// down.
    pub stand_down_line: Figure,
    /// Flowers in a cluster where none were counted.
    pub flowers_per_cluster: Figure,
    /// Crop density, fruit for each cm² of trunk section.
    pub fruit_per_cm2: Figure,
}

impl Cultivar {
    /// What is worth saying of where its figures come from, in sentences.
    pub fn told(&self) -> String {
        let name = &self.name;
        let listed = if self.listed {
            String::new()
        } else {
            format!("`{name}` is not in the table of cultivars; the default figures are used. ")
        };
        let bears = if self.biennial { format!("{name} bears every other year. ") } else { String::new() };
        format!(
            "{listed}{bears}Buds for each fruit wanted: {}. Stand-down line, live flowers for each fruit wanted: {}. \
             Flowers in a cluster: {}. Fruit for each cm² of trunk section: {}.",
            self.buds_per_fruit.told(),
            self.stand_down_line.told(),
            self.flowers_per_cluster.told(),
            self.fruit_per_cm2.told()
        )
    }
}

/// The cultivars known here.
#[derive(Debug, Clone, PartialEq)]
pub struct Cultivars {
    default: Cultivar,
    listed: Vec<Row>,
}

/// No table: growers' own rules alone, for whoever brings none.
impl Default for Cultivars {
    fn default() -> Cultivars {
        let figure = |value| Figure { value, source: "growers' rule".to_owned(), status: Status::Practice };
        let default = Cultivar {
            name: DEFAULT.to_owned(),
            listed: false,
            biennial: false,
            buds_per_fruit: figure(2.0),
            stand_down_line: figure(4.0),
            flowers_per_cluster: figure(5.0),
            fruit_per_cm2: figure(6.0),
        };
        Cultivars { default, listed: Vec::new() }
    }
}

/// A cultivar with the names it also goes by.
#[derive(Debug, Clone, PartialEq)]
struct Row {
    also: Vec<String>,
    cultivar: Cultivar,
}

/// A row as it stands in the table, with what it leaves to the rows behind it.
#[derive(Debug, Clone)]
struct Draft {
    id: String,
    name: String,
    also: Vec<String>,
    biennial: bool,
    figures: [Option<Figure>; 4],
}

const FIGURES: [(&str, f64, f64); 4] = [
    ("buds_per_fruit", 1.0, 20.0),
    ("stand_down_line", 0.1, 100.0),
    ("flowers_per_cluster", 1.0, 20.0),
    ("fruit_per_cm2", 0.1, 100.0),
];

impl Draft {
    fn from_fields(id: &str, fields: &Fields<'_>) -> Option<Draft> {
        let shared = [DEFAULT, BIENNIAL].contains(&id);
        let name = if shared { Some(id.to_owned()) } else { fields.required_text("name") };
        let also = if shared { Vec::new() } else { fields.texts("also") };
        let biennial = if shared { None } else { fields.flag("biennial") };
        let figures = FIGURES.map(|(name, low, high)| {
            if id == DEFAULT {
                fields.require(name);
            }
            Figure::from_fields(fields, name, low, high)
        });
        Some(Draft { id: id.to_owned(), name: name?, also, biennial: biennial.unwrap_or(false), figures })
    }

    /// This row, with what it leaves out taken from the first row behind it that
    /// has it.
    fn over(&self, behind: &[&Draft]) -> Option<Cultivar> {
        let [buds, stand_down, flowers, density] = std::array::from_fn(|n| {
            let own = self.figures[n].as_ref();
            own.or_else(|| behind.iter().find_map(|row| row.figures[n].as_ref())).cloned()
        });
        Some(Cultivar {
            name: self.name.clone(),
            listed: true,
            biennial: self.biennial,
            buds_per_fruit: buds?,
            stand_down_line: stand_down?,
            flowers_per_cluster: flowers?,
            fruit_per_cm2: density?,
        })
    }
}

impl Cultivars {
    /// Reads the table of `config/cultivars.toml`, given as JSON.
    ///
    /// A row has `name`, optionally `also` (other names) and `biennial`, and those
    /// figures in which it differs: `buds_per_fruit`, `stand_down_line`,
    /// `flowers_per_cluster`, `fruit_per_cm2`, each with `value`, `source` and
    /// `status`. What a biennial one leaves out comes from the row `biennial`,
    /// the rest from `default`, which must have all.
    ///
    /// # Errors
    /// All that is wrong with any row, a missing default, and two rows of one name.
    pub fn read(document: &Value) -> Result<Cultivars, Faults> {
        let drafts = input::read_all(document, Draft::from_fields)?;
        let row = |id: &str| drafts.iter().find(|draft| draft.id == id);
        let Some(default) = row(DEFAULT) else {
            return Err(Faults::one(
                "/default",
                "is missing; cultivars that are not listed need its figures",
            ));
        };
        twice(&drafts)?;
        let mut listed = Vec::new();
        for draft in drafts.iter().filter(|draft| ![DEFAULT, BIENNIAL].contains(&draft.id.as_str())) {
            let between = row(BIENNIAL).filter(|_| draft.biennial);
            let behind: Vec<&Draft> = between.into_iter().chain([default]).collect();
            let cultivar = draft.over(&behind).expect("the default has every figure");
            listed.push(Row { also: draft.also.clone(), cultivar });
        }
        let default = default.over(&[]).expect("the default has every figure");
        Ok(Cultivars { default: Cultivar { listed: false, ..default }, listed })
    }

    /// The cultivar of that name, whatever its case; the default's figures under
    /// that name where it is not listed.
    pub fn of(&self, name: &str) -> Cultivar {
        let is = |other: &str| same(other, name);
        let known =
            self.listed.iter().find(|row| is(&row.cultivar.name) || row.also.iter().any(|also| is(also)));
        known.map_or_else(
            || Cultivar { name: name.trim().to_owned(), ..self.default.clone() },
            |row| row.cultivar.clone(),
        )
    }

    /// Those listed, in the order of their ids.
    pub fn listed(&self) -> impl Iterator<Item = &Cultivar> {
        self.listed.iter().map(|row| &row.cultivar)
    }
}

fn same(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// Refuses a name that two rows claim: which of them holds would be chance.
fn twice(drafts: &[Draft]) -> Result<(), Faults> {
    let mut seen: Vec<(&str, &str)> = Vec::new();
    let mut faults = Vec::new();
    for draft in drafts {
        for name in std::iter::once(&draft.name).chain(&draft.also) {
            if let Some((_, id)) = seen.iter().find(|(known, _)| same(known, name)) {
                let detail = format!("`{name}` stands in `{id}` already");
                faults.push(Fault { pointer: format!("/{}/name", draft.id), detail });
            }
            seen.push((name, &draft.id));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Faults(faults)) }
}

#[cfg(test)]
mod tests;
