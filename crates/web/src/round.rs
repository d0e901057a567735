//! The sprayers' round of a farm: a form that plans, and what was planned below it.
//! Nothing is kept of what is asked.

mod form;

use access::Deed;
use api::{Planned, Unplanned};
use askama::Template;
use axum::extract::{Form, Path};
use axum::http::StatusCode;
use axum::response::Response;
use charts::round::RoundPicture;
use chrono_tz::Tz;
use store::Farm;

use self::form::{Faults, Sprayer, Typed};
use crate::pages;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;

/// Blocks of a farm that can be chosen from.
const BLOCKS: u32 = 500;

#[derive(Template)]
#[template(path = "round.html")]
struct Page {
    words: &'static Words,
    title: String,
    farm_id: String,
    year: i32,
    form: Typed,
    sprayers: Vec<Sprayer>,
    /// Id and name of each block in season, and whether it is ticked.
    blocks: Vec<(String, String, bool)>,
    faults: Faults,
    round: Option<Drawn>,
}

/// A round as it was planned.
struct Drawn {
    said: Vec<String>,
    svg: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// The form.
pub(crate) async fn form(signed: Signed, Path(farm): Path<String>) -> Shown {
    let farm = signed.farm(&farm).await?;
    if !signed.0.caller().may(Deed::Log, &farm.id) {
        let says = signed.words().get("round.not_allowed");
        return Ok(pages::refused(StatusCode::FORBIDDEN, says));
    }
    shown(&signed, &farm, Typed::default(), Faults::default(), None).await
}

/// Plans by what was typed; the form stays as it was sent.
pub(crate) async fn plan(
    signed: Signed,
    Path(farm): Path<String>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Shown {
    let farm = signed.farm(&farm).await?;
    let typed = Typed::read(sent);
    match signed.0.round(&farm.id, &typed.document()).await {
        Ok(planned) => {
            let name = farm.name.clone();
            let drawn = tokio::task::spawn_blocking(move || drawn(&name, &planned));
            let drawn = drawn.await.map_err(|error| Stop::Failed(error.to_string()))?;
            shown(&signed, &farm, typed, Faults::default(), Some(drawn)).await
        }
        Err(Unplanned::Wrong(wrong)) => {
            let faults = Faults::of(wrong, &typed, signed.words());
            shown(&signed, &farm, typed, faults, None).await
        }
        Err(Unplanned::NotAllowed(says)) => Ok(pages::refused(StatusCode::FORBIDDEN, &says)),
        Err(Unplanned::Failed(error)) => Err(Stop::from(error)),
    }
}

async fn shown(
    signed: &Signed,
    farm: &Farm,
    form: Typed,
    faults: Faults,
    round: Option<Drawn>,
) -> Result<Response, Stop> {
    let store = signed.0.store();
    let year = signed.0.now().local_year(Tz::UTC);
    let mut blocks: Vec<_> = store
        .board(year, Some(&farm.id), BLOCKS)
        .await?
        .into_iter()
        .map(|row| {
            let ticked = form.names(&row.block_id);
            (row.block_id, row.name, ticked)
        })
        .collect();
    blocks.sort_by(|a, b| a.1.cmp(&b.1));
    let words = signed.words();
    let status = if faults.any() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    let page = Page {
        words,
        title: words.fill("round.title", &[("farm", &farm.name)]),
        farm_id: farm.id.clone(),
        year,
        sprayers: form.sprayers(&faults),
        form,
        blocks,
        faults,
        round,
    };
    Ok(pages::page(status, &page))
}

fn drawn(name: &str, planned: &Planned) -> Drawn {
    let Planned { round, stops, zone, .. } = planned;
    let picture = RoundPicture { name, round, stops, zone: *zone };
    let mut rows = charts::round::table(&picture).into_iter();
    Drawn {
        said: round.told(*zone),
        svg: charts::round::picture(&picture).replacen(" xmlns=\"http://www.w3.org/2000/svg\"", "", 1),
        columns: rows.next().unwrap_or_default(),
        rows: rows.collect(),
    }
}
