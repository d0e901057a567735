//! Growth curves.

use anyhow::{Context, Result};
use charts::curve::{picture, table};
use model::curve::Curve;
use model::input;
use serde_json::json;

use crate::checked::{count, held, sound, texts};
use crate::spring;

#[test]
fn the_curves_that_ship_are_drawn_with_what_is_known_of_them() -> Result<()> {
    for curve in spring::catalogue()?.curves {
        let svg = picture(&curve);
        sound(&svg);
        held(&svg);
        let said = texts(&svg);
        assert_eq!(said[0], format!("Growth curve {}", curve.id));
        assert!(said.iter().any(|text| text == "constructed, not measured as a whole"), "{said:#?}");
        assert_eq!(svg, picture(&curve));
    }
    Ok(())
}

#[test]
fn nodes_are_marked_and_a_formula_has_none() -> Result<()> {
    let curves = spring::catalogue()?.curves;
    let named = |id: &str| curves.iter().find(|curve| curve.id == id).context("it ships");
    let reference = named("reference")?;
    assert_eq!(count(&picture(reference), "circle"), reference.table.nodes().count() + 1);
    assert_eq!(count(&picture(named("cardinal")?), "circle"), 0);
    Ok(())
}

#[test]
fn the_table_has_the_rate_each_two_degrees() -> Result<()> {
    let curves = spring::catalogue()?.curves;
    let reference = curves.iter().find(|curve| curve.id == "reference").context("it ships")?;
    let rows = table(reference);
    assert_eq!(rows[0], ["Temperature", "Rate, share of the style a day", "Its data"]);
    assert_eq!(rows[1], ["2 °C (35.6 °F)", "0.000", "outside"]);
    assert_eq!(rows[12], ["24 °C (75.2 °F)", "1.000", "within"]);
    assert_eq!(rows.last().context("rows")?[0], "44 °C (111.2 °F)");
    Ok(())
}

#[test]
fn a_curve_in_mm_with_any_name_is_drawn() -> Result<()> {
    let document = json!({"form": "nodes", "unit": "mm-per-day", "nodes": [[-3.5, 0.0], [21.25, 4.5], [38.0, 0.0]],
        "source": "<our \"own\" & yours>", "status": "measured", "covered": [-10.0, 55.0], "lag_hours": 2.5});
    let curve = input::read(&document, |fields| Curve::from_fields("a</title>&", fields))?;
    let svg = picture(&curve);
    sound(&svg);
    held(&svg);
    let said = texts(&svg);
    assert_eq!(said[0], "Growth curve a</title>&");
    assert!(said.iter().any(|text| text == "Source: <our \"own\" & yours>"));
    assert!(
        said[1].starts_with("Millimetres a day over temperature, measured. Growth between −3.5 °C"),
        "{}",
        said[1]
    );
    assert_eq!(table(&curve)[1][0], "−4 °C (24.8 °F)");
    Ok(())
}
