//! The target by the yield wanted from an area and the trees that stand on it.

use super::{Area, Basis, Target, above_zero, not_beside};
use crate::cropload::{BOX_LB, GRAMS_PER_POUND, fruit_by_yield, fruit_weight_g};
use crate::input::Fields;

/// Most boxes or trees taken for an area.
const MOST_PER_AREA: f64 = 100_000.0;
/// Largest yield by weight taken for an area, in any unit.
const MOST_WEIGHT: f64 = 1_000_000.0;
/// Most fruit in a box.
const MOST_IN_BOX: f64 = 1_000.0;
/// Heaviest fruit taken, g.
const HEAVIEST_G: f64 = 2_000.0;
/// Heaviest box taken, lb or kg: a bulk bin holds some 900 lb (from memory).
const HEAVIEST_BOX: f64 = 1_000.0;
/// Metres in a foot, exact by definition.
const METRES_PER_FOOT: f64 = 0.304_8;
/// Widest spacing taken, m and ft.
const WIDEST_M: f64 = 50.0;
const WIDEST_FT: f64 = 160.0;

/// Trees by how far they stand apart.
const SPACING: [&str; 3] = ["row_spacing", "tree_spacing", "spacing_unit"];

/// What is known of the fruit wanted.
struct Fruit {
    per_area: f64,
    weight_g: Option<f64>,
    per_box: Option<f64>,
}

/// Reads the yield, the size of the fruit and the trees.
pub(super) fn read(fields: &Fields<'_>) -> Option<Target> {
    let area = match fields.word("area_unit", &["hectare", "acre"]) {
        Some("acre") => Some(Area::Acre),
        Some(_) => Some(Area::Hectare),
        None => None,
    };
    let sized_area = fields.has("yield_per_area") || SPACING.into_iter().any(|name| fields.has(name));
    if sized_area && !fields.has("area_unit") {
        let detail = "is missing; a yield by weight and a spacing need it: hectare or acre";
        fields.fault("area_unit", detail);
    }
    let fruit = fruit(fields);
    let trees = trees(fields, area);
    let (fruit, trees_per_area) = (fruit?, trees?);
    let basis = Basis::Yield {
        fruit_per_area: fruit.per_area,
        trees_per_area,
        area,
        fruit_weight_g: fruit.weight_g,
        fruit_per_box: fruit.per_box,
    };
    Some(Target::resting_on(basis, fruit_by_yield(fruit.per_area, 1.0, trees_per_area)))
}

/// Fruit wanted from the area.
fn fruit(fields: &Fields<'_>) -> Option<Fruit> {
    let by_weight = fields.has("yield_per_area");
    if by_weight {
        not_beside(fields, "boxes_per_area", "yield_per_area");
    } else if !fields.has("boxes_per_area") {
        fields.fault(
            "boxes_per_area",
            "is missing; give boxes_per_area or yield_per_area, or fruit_per_cm2 for a target by the trunk",
        );
    }
    if !by_weight && fields.has("yield_unit") {
        fields.fault("yield_unit", "goes with yield_per_area");
    }
    let box_stated = fields.has("box_weight_lb") || fields.has("box_weight_kg");
    let box_lb = box_lb(fields);
    let sized = sized(fields);
    let boxes = fields.number("boxes_per_area", 0.0, MOST_PER_AREA);
    let grams = by_weight.then(|| grams(fields)).flatten();
    let (box_lb, (per_box, weight_g)) = (box_lb?, sized?);
    let weighed = match (weight_g, per_box) {
        (Some(grams), _) => grams,
        (None, Some(count)) => fruit_weight_g(box_lb, count),
        (None, None) => return None,
    };
    let per_area = match (by_weight, per_box) {
        (true, _) => grams? / weighed,
        (false, Some(count)) => boxes? * count,
        (false, None) => boxes? * fruit_weight_g(box_lb, 1.0) / weighed,
    };
    // A weight that nobody gave and nothing rests on is not worth telling.
    let told = by_weight || box_stated || weight_g.is_some();
    Some(Fruit { per_area, weight_g: told.then_some(weighed), per_box })
}

/// Count in a box and weight in g, exactly one of which is given.
fn sized(fields: &Fields<'_>) -> Option<(Option<f64>, Option<f64>)> {
    match (fields.has("fruit_per_box"), fields.has("fruit_weight_g")) {
        (true, true) => {
            not_beside(fields, "fruit_weight_g", "fruit_per_box");
            None
        }
        (true, false) => Some((Some(above_zero(fields, "fruit_per_box", MOST_IN_BOX)?), None)),
        (false, true) => Some((None, Some(above_zero(fields, "fruit_weight_g", HEAVIEST_G)?))),
        (false, false) => {
            fields.fault("fruit_per_box", "is missing; give fruit_per_box or fruit_weight_g");
            None
        }
    }
}

/// Weight of a full box, lb.
fn box_lb(fields: &Fields<'_>) -> Option<f64> {
    if fields.has("box_weight_kg") {
        not_beside(fields, "box_weight_lb", "box_weight_kg");
        let kg = above_zero(fields, "box_weight_kg", HEAVIEST_BOX)?;
        return Some(kg * 1_000.0 / GRAMS_PER_POUND);
    }
    if fields.has("box_weight_lb") {
        return above_zero(fields, "box_weight_lb", HEAVIEST_BOX);
    }
    Some(BOX_LB)
}

/// Yield by weight, g.
fn grams(fields: &Fields<'_>) -> Option<f64> {
    if !fields.has("yield_unit") {
        fields.fault("yield_unit", "is missing; expected one of: kg, t, lb");
    }
    let unit = fields.word("yield_unit", &["kg", "t", "lb"]);
    let amount = fields.number("yield_per_area", 0.0, MOST_WEIGHT);
    let grams = match unit? {
        "kg" => 1_000.0,
        "t" => 1_000_000.0,
        _ => GRAMS_PER_POUND,
    };
    Some(amount? * grams)
}

/// Trees on the area, as given or by the spacing.
fn trees(fields: &Fields<'_>, area: Option<Area>) -> Option<f64> {
    if fields.has("trees_per_area") {
        for name in SPACING {
            not_beside(fields, name, "trees_per_area");
        }
        return above_zero(fields, "trees_per_area", MOST_PER_AREA);
    }
    if !SPACING.iter().any(|name| fields.has(name)) {
        fields.fault(
            "trees_per_area",
            "is missing; give trees_per_area, or row_spacing and tree_spacing with spacing_unit",
        );
        return None;
    }
    if !fields.has("spacing_unit") {
        fields.fault("spacing_unit", "is missing; expected one of: m, ft");
    }
    let (metres, widest) = match fields.word("spacing_unit", &["m", "ft"]) {
        Some("ft") => (METRES_PER_FOOT, WIDEST_FT),
        _ => (1.0, WIDEST_M),
    };
    let apart = |name| if fields.require(name) { above_zero(fields, name, widest) } else { None };
    let (row, tree) = (apart("row_spacing"), apart("tree_spacing"));
    Some(area?.square_metres() / (row? * metres * tree? * metres))
}
