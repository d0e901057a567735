//! The same region on a map, as a second view: its sites where they lie, and below them
//! their blocks.

use askama::Template;
use axum::extract::Query;
use axum::http::StatusCode;
use charts::map::{self, Sign, Spot};
use model::season::State;

use super::asked::Asked;
use super::region::Region;
use super::row::Row;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{pages, tables};

#[derive(Template)]
#[template(path = "board_map.html")]
struct Page {
    words: &'static Words,
    title: String,
    region: Region,
    action: &'static str,
    picture: String,
    sites: Vec<Site>,
}

/// A site with those of its blocks that were asked for.
struct Site {
    name: String,
    place: (f64, f64),
    sign: Sign,
    rows: Vec<Row>,
}

/// The page.
pub(crate) async fn page(signed: Signed, Query(asked): Query<Asked>) -> Shown {
    let words = signed.words();
    let region = Region::of(&signed, asked).await?;
    let made = tokio::task::spawn_blocking(move || Page::of(region, words));
    let page = made.await.map_err(|error| Stop::Failed(error.to_string()))?;
    Ok(pages::page(StatusCode::OK, &page))
}

impl Page {
    fn of(mut region: Region, words: &'static Words) -> Page {
        let sites = sites(std::mem::take(&mut region.rows));
        let spots: Vec<Spot<'_>> = sites
            .iter()
            .map(|site| Spot {
                name: &site.name,
                latitude: site.place.0,
                longitude: site.place.1,
                sign: site.sign,
            })
            .collect();
        Page {
            words,
            title: words.fill("board_map.title", &[("year", &region.year)]),
            action: "/board/map",
            picture: tables::drawn(&map::picture(&spots)),
            region,
            sites,
        }
    }
}

/// The rows by their sites, in the order of the first row of each.
fn sites(rows: Vec<Row>) -> Vec<Site> {
    let mut sites: Vec<Site> = Vec::new();
    for row in rows {
        let sign = sign(row.state);
        match sites.iter_mut().find(|site| site.rows[0].site_id == row.site_id) {
            Some(site) => {
                site.sign = site.sign.min(sign);
                site.rows.push(row);
            }
            None => {
                let (name, place) = (row.site.clone(), row.place);
                sites.push(Site { name, place, sign, rows: vec![row] });
            }
        }
    }
    sites
}

fn sign(state: Option<State>) -> Sign {
    match state {
        Some(State::Due | State::Overrun | State::Hold) => Sign::Pressing,
        Some(State::Watching | State::Growing) => Sign::Ahead,
        Some(State::Done | State::StoodDown) | None => Sign::Resting,
    }
}
