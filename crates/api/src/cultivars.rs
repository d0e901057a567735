//! Cultivars: how many buds and flowers a fruit needs, each figure with where it
//! comes from.

use axum::extract::Path;
use model::cultivar::{Cultivar, Figure};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::answer::{Answer, ok, whole};
use crate::desk::Here;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::Page;

/// The name for whatever is not in the table.
const DEFAULT: &str = "default";

/// What a cultivar brings to the decision.
#[derive(Serialize, ToSchema)]
pub(crate) struct CultivarShown {
    name: String,
    /// Whether it is in the table; else all figures are the default's.
    listed: bool,
    /// Whether it bears every other year.
    biennial: bool,
    /// Flower buds to keep for each fruit wanted.
    buds_per_fruit: FigureShown,
    /// Live flowers for each fruit wanted, at and below which thinning is stood down.
    stand_down_line: FigureShown,
    /// Flowers in a cluster where none were counted.
    flowers_per_cluster: FigureShown,
    /// Fruit for each cm² of trunk section.
    fruit_per_cm2: FigureShown,
    /// The same in sentences.
    told: String,
}

/// A figure with where it comes from.
#[derive(Serialize, ToSchema)]
pub(crate) struct FigureShown {
    value: f64,
    source: String,
    /// `published`, `from-memory`, `derived`, `practice` (common practice, no source),
    /// `constructed` or `measured`.
    #[schema(value_type = String)]
    status: Value,
}

/// The cultivars in the table, and behind them the figures for all others, under
/// the name `default`.
#[utoipa::path(get, path = "/cultivars", tag = "curves and materials", operation_id = "list-cultivars",
    responses((status = 200, body = Page<CultivarShown>)))]
pub(crate) async fn list(Here(desk): Here, query: Query) -> Answer {
    query.finish()?;
    let all = &desk.app.catalogue.rules.cultivars;
    whole(all.listed().chain([&all.of(DEFAULT)]).map(shown).collect())
}

/// One cultivar, by its name or another that it goes by; `default` for those that
/// are not in the table.
#[utoipa::path(get, path = "/cultivars/{name}", tag = "curves and materials", operation_id = "read-cultivar",
    params(("name" = String, Path)), responses((status = 200, body = CultivarShown)))]
pub(crate) async fn one(Here(desk): Here, Path(name): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let cultivar = desk.app.catalogue.rules.cultivars.of(&name);
    if !cultivar.listed && cultivar.name != DEFAULT {
        let detail = format!(
            "There is no cultivar `{name}` in the table; its blocks go by the figures of `{DEFAULT}`."
        );
        return Err(Problem::not_found(detail));
    }
    ok(shown(&cultivar))
}

fn shown(cultivar: &Cultivar) -> CultivarShown {
    CultivarShown {
        name: cultivar.name.clone(),
        listed: cultivar.listed,
        biennial: cultivar.biennial,
        buds_per_fruit: figure(&cultivar.buds_per_fruit),
        stand_down_line: figure(&cultivar.stand_down_line),
        flowers_per_cluster: figure(&cultivar.flowers_per_cluster),
        fruit_per_cm2: figure(&cultivar.fruit_per_cm2),
        told: cultivar.told(),
    }
}

fn figure(figure: &Figure) -> FigureShown {
    FigureShown {
        value: figure.value,
        source: figure.source.clone(),
        status: serde_json::json!(figure.status),
    }
}
