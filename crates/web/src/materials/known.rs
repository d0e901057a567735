//! What is known of each material.

use model::materials::{Material, Role, figure};
use model::slot::Limits;
use model::units::Units;

use crate::said;
use crate::tables::Table;
use crate::words::Words;

const NOTHING: &str = "–";

/// A row a material.
pub(super) fn table(materials: &[Material], units: Units, words: &Words) -> Table {
    let head = [
        "materials.material",
        "materials.role",
        "materials.usual_mark",
        "materials.reentry",
        "materials.most",
        "materials.own_figures",
    ];
    let head = head.map(|key| words.get(key).to_owned()).to_vec();
    let row = |material: &Material| {
        let hours =
            |hours: Option<f64>| hours.map_or(NOTHING.to_owned(), |hours| format!("{} h", figure(hours)));
        let of_hours = Limits::of_material(material);
        let own: Vec<String> = of_hours
            .iter()
            .map(|limit| format!("{} {}", limit.what.spoken(), super::limits::at(limit, units)))
            .collect();
        let role = match material.role {
            Role::Thinner => words.get("materials.thinner"),
            Role::ActsOnFlowers => words.get("materials.acts"),
            Role::Other => words.get("materials.other"),
        };
        vec![
            material.name.clone(),
            role.to_owned(),
            material.usual_mark.map_or(NOTHING.to_owned(), said::style),
            hours(material.reentry_hours),
            material.season_maximum.map_or(NOTHING.to_owned(), |most| most.to_string()),
            if own.is_empty() { NOTHING.to_owned() } else { own.join("; ") },
        ]
    };
    let rows = std::iter::once(head).chain(materials.iter().map(row)).collect();
    Table::of(words.get("materials.known"), rows)
}

/// Where the figures come from, of each that says so.
pub(super) fn basis(materials: &[Material]) -> Vec<String> {
    let said =
        |material: &Material| material.basis.as_ref().map(|basis| format!("{}: {basis}", material.name));
    materials.iter().filter_map(said).collect()
}
