//! A job sheet for a contractor, with a small form for tank and volume above it.

use askama::Template;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use model::input;
use model::mixing::{Mix, MixAsked};
use model::record::{self, Job, Row};
use model::waiting::before_spray;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::pages;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use api::Facts;

/// What the form sends; a browser sends empty fields too.
#[derive(Debug, Default, Clone, Deserialize)]
pub(crate) struct Asked {
    spray: Option<String>,
    volume: Option<String>,
    volume_unit: Option<String>,
    tank: Option<String>,
    tank_unit: Option<String>,
    area: Option<String>,
    area_unit: Option<String>,
}

#[derive(Template)]
#[template(path = "job.html")]
struct Page {
    words: &'static Words,
    title: String,
    rows: Vec<Row>,
    below: Vec<String>,
    /// Number, material and whether it is this one, of each spray planned.
    planned: Vec<(usize, String, bool)>,
    volume: String,
    volume_units: Vec<(&'static str, bool)>,
    tank: String,
    tank_units: Vec<(&'static str, bool)>,
    area: String,
    area_units: Vec<(&'static str, bool)>,
    wrong: Vec<String>,
}

/// The sheet of one planned spray.
pub(crate) async fn page(
    signed: Signed,
    Path((block, text)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Shown {
    let (block, farm) = signed.block(&block).await?;
    let year = signed.year(&text)?;
    let words = signed.words();
    let seen = signed.season(&block, year).await?;
    let number: usize = asked.spray.as_deref().and_then(|text| text.trim().parse().ok()).unwrap_or(1);
    let planned = number.checked_sub(1).and_then(|index| seen.plan.sprays.get(index));
    let planned = planned.ok_or_else(|| {
        let many = seen.plan.sprays.len();
        Stop::NotThere(words.fill(
            "job.no_spray",
            &[("block", &block.name), ("year", &year), ("many", &many), ("n", &number)],
        ))
    })?;
    let named = |id: &str| seen.plan.materials.iter().find(|material| material.id == id);
    let material = named(&planned.material)
        .ok_or_else(|| Stop::NotThere(words.fill("job.no_material", &[("material", &planned.material)])))?;
    let rate = planned.rate.or(material.rate);
    let (mix, wrong) = mixed(&asked, rate, seen.plan.block.hectares, words);
    let catalogue = signed.0.catalogue().await?;
    let facts = Facts::of(&block, &farm, seen.plan.zone, &catalogue);
    let leg = seen.season.as_ref().and_then(|season| season.legs.iter().find(|leg| leg.number == number));
    let likely = leg.and_then(|leg| leg.likely(seen.plan.zone));
    let season = seen.season.as_ref();
    let before =
        season.map(|season| before_spray(season, seen.plan.zone, signed.0.now())).unwrap_or_default();
    let profiles = &catalogue.rules.profiles;
    let sheet = record::job(&Job {
        block: facts.block(),
        material,
        rate,
        mix: mix.as_ref(),
        mark: Some(planned.mark),
        bound: Some(planned.bound),
        likely: likely.as_deref(),
        confirmed: seen.plan.confirmed.iter().rfind(|confirmed| confirmed.covers(&material.id)),
        before: &before,
        profile: profiles.get("general"),
    });
    let units = |all: [&'static str; 2], chosen: &Option<String>| {
        all.iter().map(|unit| (*unit, chosen.as_deref() == Some(*unit))).collect()
    };
    let page = Page {
        words,
        title: sheet.title,
        rows: sheet.rows,
        below: sheet.below,
        planned: seen
            .plan
            .sprays
            .iter()
            .enumerate()
            .map(|(n, spray)| {
                let name = named(&spray.material).map_or(&spray.material, |material| &material.name);
                (n + 1, name.clone(), n + 1 == number)
            })
            .collect(),
        volume: asked.volume.clone().unwrap_or_default(),
        volume_units: units(["L/ha", "US-gal/acre"], &asked.volume_unit),
        tank: asked.tank.clone().unwrap_or_default(),
        tank_units: units(["L", "US-gal"], &asked.tank_unit),
        area: asked.area.clone().unwrap_or_default(),
        area_units: units(["ha", "acre"], &asked.area_unit),
        wrong,
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// The mix that was asked for, or what is wrong with it; neither before tank and
/// volume are typed.
fn mixed(
    asked: &Asked,
    usual: Option<model::materials::Rate>,
    hectares: Option<f64>,
    words: &Words,
) -> (Option<Mix>, Vec<String>) {
    let typed = |text: &Option<String>| {
        text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned)
    };
    if typed(&asked.volume).is_none() && typed(&asked.tank).is_none() && typed(&asked.area).is_none() {
        return (None, Vec::new());
    }
    if usual.is_none() {
        return (None, vec![words.get("job.no_rate").to_owned()]);
    }
    let mut document = json!({});
    for (name, text) in [("volume_per_area", &asked.volume), ("tank", &asked.tank), ("area", &asked.area)] {
        if let Some(text) = typed(text) {
            document[name] =
                text.replace(',', ".").parse().map_or(Value::String(text), |number: f64| json!(number));
        }
    }
    for (name, text) in [
        ("volume_unit", &asked.volume_unit),
        ("tank_unit", &asked.tank_unit),
        ("area_unit", &asked.area_unit),
    ] {
        if let Some(text) = typed(text) {
            document[name] = json!(text);
        }
    }
    if typed(&asked.area).is_none()
        && let Some(hectares) = hectares
    {
        document["area"] = json!(hectares);
        document["area_unit"] = json!("ha");
    }
    match input::read(&document, |fields| MixAsked::with_usual(fields, usual)) {
        Ok(asked) => (Some(asked.mix()), Vec::new()),
        Err(faults) => {
            (None, faults.0.iter().map(|fault| spoken(&fault.pointer, &fault.detail, words)).collect())
        }
    }
}

/// A fault by the words of its field in the form.
fn spoken(pointer: &str, detail: &str, words: &Words) -> String {
    let field = match pointer {
        "/volume_per_area" => "job.volume",
        "/volume_unit" => "job.volume_unit",
        "/tank" => "job.tank",
        "/tank_unit" => "job.tank_unit",
        "/area" => "job.area_alone",
        "/area_unit" => "job.area_unit",
        _ => "job.rate",
    };
    words.fill("entries.fault", &[("field", &words.get(field)), ("fault", &detail)])
}
