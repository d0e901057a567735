//! Seasons side by side: of one block over the years, and of all blocks in a year.

use axum::extract::Path;
use axum::http::HeaderMap;
use chrono::Datelike;
use model::legs::EndedBy;
use model::season::{Decided, Outcome, Season};
use model::time::Instant;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::BoardRow;
use utoipa::ToSchema;

use crate::answer::{Answer, whole};
use crate::board::OfYear;
use crate::csv_out::{self, number_cell, text_cell};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{InForm, Moment, Page};
use crate::{fields, limits};

/// A season in one line: what was wanted, decided, sprayed, and what came of it.
#[derive(Serialize, ToSchema)]
pub(crate) struct SeasonLine {
    block_id: String,
    name: String,
    #[schema(value_type = Option<String>)]
    cultivar: Option<Value>,
    farm_id: String,
    year: i32,
    /// Where the whole season stands.
    season: String,
    state: Option<String>,
    /// Fruit wanted on a tree.
    target: Option<f64>,
    /// Fruit a tree that the block carried the year before, where that is known: as
    /// counted then; of the present year else as given with the block.
    last_crop: Option<f64>,
    #[schema(value_type = Option<Moment>)]
    start_at: Option<Instant>,
    /// `thin` or `stand-down`, as decided; null without a decision.
    decided: Option<&'static str>,
    decision_reason: Option<String>,
    /// What the table said at the end.
    verdict: Option<String>,
    /// The sprays that ended legs.
    sprays: Vec<SprayLine>,
    /// Live flowers a tree that came through before a spray.
    flowers_through: Option<f64>,
    /// Fruit a tree that set on sprayed trees.
    set_treated: Option<f64>,
    /// The same on trees left unsprayed.
    set_unsprayed: Option<f64>,
    /// Share by which sprayed trees carry fewer than unsprayed ones.
    fewer_by: Option<f64>,
    /// Fruit a tree left for later thinning.
    left_to_thin: Option<f64>,
    /// Share of the buds that flowered in the spring after.
    return_bloom: Option<f64>,
    hours_observed: Option<f64>,
    hours_unknown: Option<f64>,
}

/// A spray against its mark.
#[derive(Serialize, ToSchema)]
pub(crate) struct SprayLine {
    leg: usize,
    material: Option<String>,
    #[schema(value_type = Option<Moment>)]
    at: Option<Instant>,
    mark: Option<f64>,
    /// How far the tubes were, as a fraction of the style.
    progress: f64,
}

/// What stands of a block beside its season.
#[derive(Deserialize, Default)]
struct Planted {
    #[serde(default)]
    cultivar: Option<Value>,
    #[serde(default)]
    last_crop_per_tree: Option<f64>,
}

/// A block's seasons side by side, the latest first.
#[utoipa::path(get, path = "/blocks/{id}/years", tag = "seasons", operation_id = "compare-seasons",
    params(("id" = String, Path)), responses((status = 200, body = Page<SeasonLine>)))]
pub(crate) async fn of_block(Here(desk): Here, Path(block): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let block = desk.block(&block).await?;
    let planted: Planted = serde_json::from_value(block.details.clone()).unwrap_or_default();
    let mut lines = Vec::new();
    let mut years = desk.store.seasons_of(&block.id).await?;
    years.sort_unstable();
    let mut set_before = None;
    for year in years {
        let row = desk.store.season(&block.id, year).await?;
        let reckoned = row.and_then(|row| row.reckoned);
        let season = reckoned.and_then(|reckoned| serde_json::from_value(reckoned.doc).ok());
        let whose = Whose {
            id: &block.id,
            name: &block.name,
            farm_id: &block.farm_id,
            cultivar: planted.cultivar.clone(),
        };
        let mut line = whose.line(year, season.as_ref());
        line.last_crop = set_before;
        set_before = line.set_treated;
        lines.push(line);
    }
    // What was entered is of the year before this one; a count goes before it.
    let this_year = desk.now().utc().year();
    if let Some(newest) = lines.last_mut().filter(|newest| newest.year == this_year) {
        newest.last_crop = newest.last_crop.or(planted.last_crop_per_tree);
    }
    lines.reverse();
    whole(lines)
}

const COLUMNS: [&str; 22] = [
    "block_id",
    "name",
    "cultivar",
    "farm_id",
    "year",
    "state",
    "target_fruit_per_tree",
    "last_crop_fruit_per_tree",
    "start_utc",
    "decided",
    "decision_reason",
    "verdict",
    "sprays",
    "materials",
    "first_mark",
    "first_progress",
    "flowers_through_per_tree",
    "set_treated_fruit_per_tree",
    "set_unsprayed_fruit_per_tree",
    "left_to_thin_fruit_per_tree",
    "return_bloom_share",
    "unknown_hours",
];

/// Every block of a year over all farms that you see, with how its season ended, as
/// JSON or CSV.
#[utoipa::path(get, path = "/outcomes", tag = "seasons", operation_id = "list-outcomes", params(OfYear, InForm),
    responses((status = 200, content((Page<SeasonLine> = "application/json"), (String = "text/csv")))))]
pub(crate) async fn of_year(Here(desk): Here, mut query: Query, headers: HeaderMap) -> Answer {
    let csv = query.csv(&headers);
    let (year, rows) = desk.year(query).await?;
    let this_year = desk.now().utc().year();
    let before = desk.store.board(year - 1, None, limits::BOARD).await?;
    let last: std::collections::HashMap<&str, f64> = before
        .iter()
        .filter_map(|row| Some((row.block_id.as_str(), season(row)?.outcome?.treated?.fruit.mean)))
        .collect();
    let lines: Vec<SeasonLine> = rows
        .iter()
        .map(|row| {
            let planted: Planted = serde_json::from_str(&row.details).unwrap_or_default();
            let whose = Whose {
                id: &row.block_id,
                name: &row.name,
                farm_id: &row.farm_id,
                cultivar: planted.cultivar,
            };
            let mut line = whose.line(year, season(row).as_ref());
            let entered = planted.last_crop_per_tree.filter(|_| year == this_year);
            line.last_crop = last.get(row.block_id.as_str()).copied().or(entered);
            line
        })
        .collect();
    if csv {
        return csv_out::answer(
            &format!("outcomes-{year}.csv"),
            &COLUMNS,
            lines.iter().map(SeasonLine::cells),
            None,
        );
    }
    whole(lines)
}

impl Visit {
    /// The year and farm that a query asks for, with the blocks that have a season in
    /// it.
    pub(crate) async fn year(&self, mut query: Query) -> Result<(i32, Vec<BoardRow>), Problem> {
        let (year, farm) = (query.text("year"), query.text("farm_id"));
        query.finish()?;
        let year = match year {
            Some(year) => fields::year(&year)?,
            None => self.now().utc().year(),
        };
        let rows = self.store.board(year, farm.as_deref(), limits::BOARD + 1).await?;
        if rows.len() > limits::BOARD as usize {
            let most = limits::BOARD;
            return Err(Problem::parameter(
                "farm_id",
                format!("These are more than {most} blocks; name a farm."),
            ));
        }
        Ok((year, rows))
    }
}

/// The season of a block as it was last reckoned; none before that.
pub(crate) fn season(row: &BoardRow) -> Option<Season> {
    serde_json::from_str(row.doc.as_deref()?).ok()
}

struct Whose<'a> {
    id: &'a str,
    name: &'a str,
    farm_id: &'a str,
    cultivar: Option<Value>,
}

impl Whose<'_> {
    fn line(&self, year: i32, season: Option<&Season>) -> SeasonLine {
        let outcome = season.and_then(|season| season.outcome.as_ref());
        let decision = season.and_then(|season| season.decision.as_ref());
        let sprayed = season.into_iter().flat_map(|season| &season.legs);
        let sprays = sprayed
            .filter(|leg| leg.ended_by == Some(EndedBy::Spray))
            .map(|leg| SprayLine {
                leg: leg.number,
                material: leg.sprayed_with.clone(),
                at: leg.ended_at,
                mark: leg.mark,
                progress: leg.progress,
            })
            .collect();
        let decided = |decided: &Decided| if decided.thin { "thin" } else { "stand-down" };
        let set = |set: fn(&Outcome) -> Option<model::season::SetOn>| Some(set(outcome?)?.fruit.mean);
        SeasonLine {
            block_id: self.id.to_owned(),
            name: self.name.to_owned(),
            cultivar: self.cultivar.clone(),
            farm_id: self.farm_id.to_owned(),
            year,
            season: format!("/api/v1/blocks/{}/seasons/{year}", self.id),
            state: season.map(|season| season.state.word().to_owned()),
            target: season.map(|season| season.target),
            last_crop: None,
            start_at: season.and_then(|season| season.start).map(|start| start.at),
            decided: decision.map(decided),
            decision_reason: decision.and_then(|decision| decision.reason.clone()),
            verdict: season.map(|season| season.verdict.verdict.word().to_owned()),
            sprays,
            flowers_through: season.and_then(|season| season.flowers_through?.likely),
            set_treated: set(|outcome| outcome.treated),
            set_unsprayed: set(|outcome| outcome.unsprayed),
            fewer_by: outcome.and_then(|outcome| outcome.fewer_by),
            left_to_thin: outcome.and_then(|outcome| outcome.left_to_thin),
            return_bloom: outcome.and_then(|outcome| outcome.return_bloom),
            hours_observed: season.map(|season| season.hours.observed),
            hours_unknown: season.map(|season| season.hours.unknown),
        }
    }
}

impl SeasonLine {
    fn cells(&self) -> Vec<String> {
        let text = |text: &Option<String>| text.as_deref().map(text_cell).unwrap_or_default();
        let materials: Vec<&str> = self.sprays.iter().filter_map(|spray| spray.material.as_deref()).collect();
        let first = self.sprays.first();
        vec![
            text_cell(&self.block_id),
            text_cell(&self.name),
            text(&self.cultivar.as_ref().and_then(Value::as_str).map(str::to_owned)),
            text_cell(&self.farm_id),
            self.year.to_string(),
            text(&self.state),
            number_cell(self.target),
            number_cell(self.last_crop),
            number_cell(self.start_at),
            self.decided.unwrap_or_default().to_owned(),
            text(&self.decision_reason),
            text(&self.verdict),
            self.sprays.len().to_string(),
            text_cell(&materials.join("; ")),
            number_cell(first.and_then(|spray| spray.mark)),
            number_cell(first.map(|spray| spray.progress)),
            number_cell(self.flowers_through),
            number_cell(self.set_treated),
            number_cell(self.set_unsprayed),
            number_cell(self.left_to_thin),
            number_cell(self.return_bloom),
            number_cell(self.hours_unknown),
        ]
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Nothing is known of a season before it was reckoned.
    #[test]
    fn a_season_not_yet_reckoned_is_an_empty_line() {
        let whose = Whose { id: "b", name: "=North", farm_id: "f", cultivar: Some(json!("Gala")) };
        let line = whose.line(2026, None);
        assert_eq!(line.cells().len(), COLUMNS.len());
        assert_eq!(line.cells()[1], "'=North");
        assert_eq!((line.state, line.sprays.len()), (None, 0));
    }
}
