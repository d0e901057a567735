//! The sprayers' round: in which order, and when. Nothing is kept of what is asked.

use std::collections::HashMap;

use access::Deed;
use axum::extract::Path;
use chrono_tz::Tz;
use model::catalogue::Catalogue;
use model::growth::Growth;
use model::input::{self, Fields};
use model::legs::Leg;
use model::odds::SeasonOdds;
use model::plan::MarkBound;
use model::round::{self, Ask, Flowers, MarkTime, Round, Spot, Sprayer, Stop, Ways, Window, WorkingDay};
use model::season::{self, Hold, Reentry};
use model::slot::Answer as SlotAnswer;
use model::time::{HOUR, Instant, zone};
use model::words;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::{Block, BoardRow};
use utoipa::ToSchema;

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::Moment;

/// Growth that is taken where nothing of the leg is known, shares of the style an hour:
/// two days for a whole one (constructed).
const USUAL_GROWTH: f64 = 1.0 / 48.0;

/// Sprayers, and how they get about.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct RoundAsked {
    #[schema(min_items = 1, max_items = 50)]
    sprayers: Vec<SprayerAsked>,
    /// Only these blocks of the farm; all when none are named.
    #[schema(nullable = false, max_items = 500)]
    blocks: Option<Vec<String>>,
    /// Finished spray, L/ha; without it filling is not reckoned.
    #[schema(nullable = false)]
    litres_per_hectare: Option<f64>,
    /// Begin and end of the working day on the wall clock, as `05:00`; an end before
    /// the begin lies on the next day.
    #[schema(nullable = false)]
    works_from: Option<String>,
    #[schema(nullable = false)]
    works_until: Option<String>,
    /// Speed on the way; 12 by default.
    #[schema(nullable = false)]
    km_per_hour: Option<f64>,
    /// How much longer lanes are than the straight line; 1.4 by default.
    #[schema(nullable = false)]
    detour: Option<f64>,
}

/// A sprayer with its tank.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for sprayers in the document")]
pub(crate) struct SprayerAsked {
    name: String,
    /// Area that it sprays in an hour, without filling.
    hectares_per_hour: f64,
    #[schema(nullable = false)]
    tank_litres: Option<f64>,
    /// How long one filling takes, without the way to it.
    #[schema(nullable = false)]
    fill_minutes: Option<f64>,
    /// Where it is filled; at the block where that is not given.
    #[schema(nullable = false, value_type = Option<Object>)]
    fill_at: Value,
    #[schema(nullable = false, value_type = Option<Object>)]
    starts_at: Value,
    #[schema(nullable = false, value_type = Option<Moment>)]
    free_from: Option<Instant>,
}

/// A round as it was planned.
#[derive(Serialize, ToSchema)]
pub(crate) struct RoundShown {
    farm_id: String,
    time_zone: String,
    #[schema(value_type = Moment)]
    asked_at: Instant,
    /// A run of each sprayer, with its visits in order.
    #[schema(value_type = Vec<Object>)]
    runs: Value,
    /// Blocks that cannot be reached in time, that are on hold after a frost, or of which
    /// too little is known, each with why.
    #[schema(value_type = Vec<Object>)]
    left_out: Value,
    /// Whether no other round is better; else it is a good one.
    exact: bool,
    /// The same in sentences.
    told: Vec<String>,
    about: &'static str,
    caution: &'static str,
}

/// A round with what it was planned from.
pub struct Planned {
    /// The round.
    pub round: Round,
    /// The blocks that have a mark ahead.
    pub stops: Vec<Stop>,
    /// Zone of the farm's wall clock.
    pub zone: Tz,
    /// The moment of planning.
    pub asked_at: Instant,
}

/// What a round goes by.
pub const ABOUT: &str = "Each block as near its mark as its slots allow, by the likely time of the mark. An order of \
                     work, not a permission.";

/// Plans the round of a farm's sprayers through the blocks that have a mark ahead.
#[utoipa::path(post, path = "/farms/{id}/round", tag = "farms", operation_id = "plan-round",
    params(("id" = String, Path)), request_body = RoundAsked, responses((status = 200, body = RoundShown)))]
pub(crate) async fn plan(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    let Planned { round, zone, asked_at, .. } = desk.round(&farm.id, &document).await?;
    ok(RoundShown {
        farm_id: farm.id,
        time_zone: zone.name().to_owned(),
        asked_at,
        told: round.told(zone),
        runs: serde_json::to_value(&round.runs).unwrap_or_default(),
        left_out: serde_json::to_value(&round.left_out).unwrap_or_default(),
        exact: round.exact,
        about: ABOUT,
        caution: words::CAUTION,
    })
}

/// What was asked.
struct Asked {
    sprayers: Vec<Sprayer>,
    blocks: Vec<String>,
    litres_per_hectare: Option<f64>,
    ways: Ways,
    working: Option<WorkingDay>,
}

fn asked(fields: &Fields<'_>) -> Option<Asked> {
    let usual = Ways::default();
    let sprayers = fields.tables("sprayers", sprayer);
    if !fields.has("sprayers") {
        fields.require("sprayers");
    } else if sprayers.is_empty() {
        fields.fault("sprayers", "names none that can be used");
    }
    if sprayers.len() > round::MOST_SPRAYERS {
        fields.fault("sprayers", format!("are more than {}", round::MOST_SPRAYERS));
    }
    let (from, until) = (minutes(fields, "works_from"), minutes(fields, "works_until"));
    if from.is_some() != until.is_some() {
        fields.fault("works_until", "a working day has both its begin and its end");
    }
    Some(Asked {
        sprayers,
        blocks: fields.texts("blocks"),
        litres_per_hectare: fields.number("litres_per_hectare", 1.0, 20_000.0),
        ways: Ways {
            km_per_hour: fields.number("km_per_hour", 0.1, 200.0).unwrap_or(usual.km_per_hour),
            detour: fields.number("detour", 1.0, 10.0).unwrap_or(usual.detour),
        },
        working: from.zip(until).map(|(begin, end)| WorkingDay { begin, end }),
    })
}

fn sprayer(fields: &Fields<'_>) -> Option<Sprayer> {
    let name = fields.required_text("name");
    // None of it at all is answered by the plan, in words.
    let hectares_per_hour = if fields.require("hectares_per_hour") {
        fields.number("hectares_per_hour", 0.0, 100.0)
    } else {
        None
    };
    let spot = |name: &'static str| {
        fields.table(name).and_then(|spot| {
            let [latitude, longitude] = [("latitude", 90.0), ("longitude", 180.0)]
                .map(|(name, most)| if spot.require(name) { spot.number(name, -most, most) } else { None });
            spot.refuse_unknown();
            Some(Spot { latitude: latitude?, longitude: longitude? })
        })
    };
    Some(Sprayer {
        tank_litres: fields.number("tank_litres", 1.0, 100_000.0),
        fill_minutes: fields.number("fill_minutes", 0.0, 1_440.0).unwrap_or(0.0),
        fill_at: spot("fill_at"),
        starts_at: spot("starts_at"),
        free_from: fields.instant("free_from"),
        name: name?,
        hectares_per_hour: hectares_per_hour?,
    })
}

/// A time of the wall clock, minutes from midnight.
fn minutes(fields: &Fields<'_>, name: &'static str) -> Option<u32> {
    let text = fields.text(name)?;
    let read = text.split_once(':').and_then(|(hour, minute)| {
        let (hour, minute): (u32, u32) = (hour.parse().ok()?, minute.parse().ok()?);
        (hour <= 24 && minute < 60 && hour * 60 + minute <= 1_440).then_some(hour * 60 + minute)
    });
    if read.is_none() {
        fields.fault(name, format!("`{text}` is no time of the wall clock; expected as 05:00"));
    }
    read
}

/// What of a season a round goes by.
#[derive(Deserialize)]
struct Seen {
    legs: Vec<Leg>,
    odds: Option<SeasonOdds>,
    #[serde(default)]
    slots: Vec<SlotAnswer>,
    hold: Option<Hold>,
    reentry: Option<Reentry>,
}

/// What a round goes by beside the season.
struct Planted {
    hectares: Option<f64>,
    /// Flowers that will be through in the leg, hour by hour, where counts tell; none
    /// else: lateness then goes by the style.
    flowers: Option<Flowers>,
}

/// A block whose running leg has a mark.
fn stop(row: &BoardRow, spot: Option<Spot>, litres_per_hectare: Option<f64>) -> Option<(Stop, Leg)> {
    let seen: Seen = serde_json::from_str(row.doc.as_deref()?).ok()?;
    let leg = seen.legs.last().filter(|leg| leg.ended_at.is_none() && leg.mark.is_some())?;
    let slots = seen.slots.iter().find(|answer| answer.wanted.leg == leg.number);
    let odds = seen.odds.as_ref().and_then(|odds| odds.legs.iter().find(|of| of.number == leg.number));
    let likely = odds.and_then(|of| of.odds.likely).or(leg.reached_at).or(leg.expected_at);
    let mark = likely.map(|likely| MarkTime {
        early: odds.and_then(|of| of.odds.early),
        likely,
        late: odds.and_then(|of| of.odds.late),
    });
    let stop = Stop {
        block: row.name.clone(),
        hectares: 0.0,
        spot,
        litres_per_hectare,
        windows: slots
            .map(|answer| {
                answer.slots.iter().map(|slot| Window { begin: slot.begin, end: slot.end }).collect()
            })
            .unwrap_or_default(),
        mark,
        bound: leg.bound.unwrap_or(MarkBound::NotBefore),
        style_per_hour: growth(leg, likely),
        flowers: None,
        hold_since: seen.hold.map(|hold| hold.since),
        reentry_unrecorded: seen.reentry.is_some_and(|reentry| reentry.until.is_none()),
    };
    Some((stop, leg.clone()))
}

impl Visit {
    /// Plans a round of a farm's sprayers by a document of what is asked.
    pub(crate) async fn round(&self, farm_id: &str, document: &Value) -> Result<Planned, Problem> {
        self.allow(Deed::Log, Some(farm_id))?;
        let asked = input::read(document, asked)?;
        let now = self.now();
        let sites = self.store.sites(Some(farm_id), None, limits::BOARD).await?;
        let blocks = self.store.blocks(Some(farm_id), None, limits::BOARD).await?;
        // A farm may have no site of its own: then its blocks lie at one of the server's.
        let beyond = match (sites.first(), blocks.first()) {
            (None, Some(block)) => self.store.site(&block.site_id).await?,
            _ => None,
        };
        let named = sites.first().or(beyond.as_ref()).map_or("UTC", |site| site.time_zone.as_str());
        let zone = zone(named).map_err(|_| Problem::failed())?;
        let year = now.local_year(zone);
        let rows = self.store.board(year, Some(farm_id), limits::BOARD).await?;
        let spots: HashMap<&str, Spot> = blocks
            .iter()
            .filter_map(|block| Some((block.id.as_str(), middle(block.geometry.as_ref()?)?)))
            .collect();
        let wanted = |row: &&BoardRow| asked.blocks.is_empty() || asked.blocks.contains(&row.block_id);
        let catalogue = self.catalogue().await?;
        let mut stops: Vec<Stop> = Vec::new();
        for row in rows.iter().filter(wanted) {
            let spot = spots.get(row.block_id.as_str()).copied();
            let Some((mut stop, leg)) = stop(row, spot, asked.litres_per_hectare) else { continue };
            if let Some(block) = blocks.iter().find(|block| block.id == row.block_id) {
                let planted = self.planted(block, year, leg, &catalogue).await?;
                // Without an area it is left out, and the plan says so.
                stop.hectares = planted.hectares.unwrap_or(0.0);
                stop.flowers = planted.flowers;
            }
            stops.push(stop);
        }
        let ask =
            Ask { stops, sprayers: asked.sprayers, ways: asked.ways, working: asked.working, zone, now };
        let planned = tokio::task::spawn_blocking(move || (round::plan(&ask), ask.stops)).await;
        let (round, stops): (Round, _) = planned.map_err(|error| {
            tracing::error!(%error, "a round could not be planned");
            Problem::failed()
        })?;
        Ok(Planned { round, stops, zone, asked_at: now })
    }

    /// A block's area and the flowers of its leg.
    async fn planted(
        &self,
        block: &Block,
        year: i32,
        leg: Leg,
        catalogue: &Catalogue,
    ) -> Result<Planted, Problem> {
        let mut ground = self.ground(block.clone(), year, catalogue).await?;
        let thresholds = self.app.thresholds.clone();
        let planted = tokio::task::spawn_blocking(move || {
            ground.check(&thresholds);
            let of = &ground.plan.block;
            let growth = Growth::new(ground.course(), of.curve.clone());
            let hours = (0..=round::HORIZON / HOUR).map(|hours| ground.now.plus(hours * HOUR));
            let through = season::flowers_by(&ground.plan, &ground.log, &growth, &leg, hours, ground.now);
            let target = of.target_fruit_per_tree;
            Planted { hectares: of.hectares, flowers: through.map(|through| Flowers { through, target }) }
        });
        planted.await.map_err(|error| {
            tracing::error!(%error, year, "flowers through could not be reckoned");
            Problem::failed()
        })
    }
}

/// Growth of a leg so far on the average, shares of the style an hour.
fn growth(leg: &Leg, likely: Option<Instant>) -> f64 {
    let whole = likely.map(|likely| likely.since(leg.from) as f64 / HOUR as f64).filter(|hours| *hours > 1.0);
    whole.zip(leg.mark).map_or(USUAL_GROWTH, |(hours, mark)| mark / hours)
}

/// The middle of a block's geometry: of its positions, which is near enough for a way.
fn middle(geometry: &Value) -> Option<Spot> {
    let mut sum = (0.0, 0.0, 0_u32);
    add(geometry.get("coordinates")?, &mut sum);
    let (longitude, latitude, count) = sum;
    (count > 0)
        .then(|| Spot { latitude: latitude / f64::from(count), longitude: longitude / f64::from(count) })
}

fn add(coordinates: &Value, sum: &mut (f64, f64, u32)) {
    let Some(list) = coordinates.as_array() else { return };
    match (list.first().and_then(Value::as_f64), list.get(1).and_then(Value::as_f64)) {
        (Some(longitude), Some(latitude)) => {
            *sum = (sum.0 + longitude, sum.1 + latitude, sum.2 + 1);
        }
        _ => list.iter().for_each(|part| add(part, sum)),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn the_middle_lies_within() {
        let at = |geometry: Value| middle(&geometry).map(|spot| (spot.latitude, spot.longitude));
        assert_eq!(at(json!({"type": "Point", "coordinates": [-74.2, 40.7]})), Some((40.7, -74.2)));
        let ring = json!([[[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]]);
        assert_eq!(at(json!({"type": "Polygon", "coordinates": ring})), Some((1.0, 1.0)));
        assert_eq!(at(json!({"type": "Polygon", "coordinates": []})), None);
    }
}
