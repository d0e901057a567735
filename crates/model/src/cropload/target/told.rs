//! A target in words.

use super::{Area, Basis, Target};
use crate::cropload::{self, GRAMS_PER_POUND};

/// Square centimetres in a square inch, exact by definition.
const CM2_PER_SQUARE_INCH: f64 = 6.451_6;

impl Target {
    /// What it is, what it rests on and how far it can be trusted, in sentences.
    pub fn told(&self) -> String {
        let fruit = grouped(self.fruit_per_tree);
        let mut text = match self.basis {
            Basis::Stated => format!("{fruit} fruit a tree, as entered."),
            Basis::Yield { fruit_per_area, trees_per_area, area, fruit_weight_g, fruit_per_box } => {
                let from = format!(
                    "{fruit} fruit a tree: {} fruit over {} trees{}.",
                    both(fruit_per_area, area),
                    both(trees_per_area, area),
                    if area.is_none() { " of the same area" } else { "" }
                );
                from + &sized(fruit_weight_g, fruit_per_box)
            }
            Basis::Trunk { fruit_per_cm2, section_cm2 } => format!(
                "{fruit} fruit a tree{}: {fruit_per_cm2} for each cm² of a trunk of {section_cm2:.1} cm² \
                 ({:.1} square inches).{} Measure at one marked height, the same every year.",
                self.range(),
                section_cm2 / CM2_PER_SQUARE_INCH,
                self.trust(),
            ),
        };
        if self.fruit_per_tree == 0.0 {
            text.push_str(" No fruit is wanted, so no clock runs.");
        }
        text
    }

    fn range(&self) -> String {
        match (self.low, self.high) {
            (Some(low), Some(high)) => {
                format!(" ({} to {}, 95 times in 100)", grouped(low), grouped(high))
            }
            _ => String::new(),
        }
    }

    /// How far the trunks measured can be trusted.
    fn trust(&self) -> String {
        let (Some(spread), Some(needed)) = (self.spread, self.trees_needed) else {
            return " It rests on one trunk, so nothing is known of how much the trees differ: measure more."
                .to_owned();
        };
        let trees = self.trees_sampled;
        let spread = 100.0 * spread;
        if trees >= needed {
            format!(" The {trees} trees measured differ by {spread:.0} %, enough of them for ±10 %.")
        } else {
            format!(" The {trees} trees measured differ by {spread:.0} %; ±10 % needs {needed} trees.")
        }
    }
}

/// A number for one area with the other beside it.
fn both(number: f64, area: Option<Area>) -> String {
    let on = |other: Area, from: Area| number * other.square_metres() / from.square_metres();
    match area {
        None => grouped(number),
        Some(Area::Acre) => {
            format!("{} an acre ({} a hectare)", grouped(number), grouped(on(Area::Hectare, Area::Acre)))
        }
        Some(Area::Hectare) => {
            format!("{} a hectare ({} an acre)", grouped(number), grouped(on(Area::Acre, Area::Hectare)))
        }
    }
}

/// How heavy and how wide the fruit is.
fn sized(weight_g: Option<f64>, per_box: Option<f64>) -> String {
    let weight = weight_g.map(|grams| format!("{grams:.0} g ({:.1} oz)", grams * 16.0 / GRAMS_PER_POUND));
    let size = per_box.and_then(cropload::box_size);
    let width = size.map(|size| format!("some {:.0} mm ({} in) across", size.inches * 25.4, size.written));
    match (weight, width) {
        (None, None) => String::new(),
        (Some(one), None) | (None, Some(one)) => format!(" A fruit is {one}."),
        (Some(weight), Some(width)) => format!(" A fruit is {weight}, {width}."),
    }
}

/// A whole number with its thousands set apart.
fn grouped(number: f64) -> String {
    let digits = format!("{number:.0}");
    let mut text = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}
