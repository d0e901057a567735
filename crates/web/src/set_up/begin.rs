//! The way to the first block: what is done, and what comes next.

use access::Deed;
use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use chrono_tz::Tz;
use store::{Block, Farm, Person, Site, Way};

use super::mail;
use crate::fields::Sent;
use crate::visit::{Shown, Signed, Stop};
use crate::words::Words;
use crate::{Web, pages};

/// Farms, sites and blocks that one page lists.
const LISTED: u32 = 200;

#[derive(Template)]
#[template(path = "begin.html")]
struct Page {
    words: &'static Words,
    title: String,
    /// Whether no farm that they see has a block.
    first: bool,
    steps: Vec<Step>,
    farms: Vec<(String, String)>,
    operator: bool,
}

/// One step.
struct Step {
    head: &'static str,
    stands: Stands,
    said: String,
    /// Address and words of each thing to do.
    ways: Vec<(String, String)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stands {
    Done,
    Next,
    Later,
}

impl Step {
    fn word(&self) -> &'static str {
        match self.stands {
            Stands::Done => "begin.is_done",
            Stands::Next => "begin.is_next",
            Stands::Later => "begin.is_later",
        }
    }

    fn is_next(&self) -> bool {
        self.stands == Stands::Next
    }
}

/// Whether nobody has a block on this server yet. What the database cannot say counts
/// as no.
pub(crate) async fn is_first_run(web: &Web) -> bool {
    web.store.blocks(None, None, 1).await.is_ok_and(|blocks| blocks.is_empty())
}

/// What stands of a farm.
struct Seen {
    farm: Option<Farm>,
    sites: Vec<Site>,
    /// Whether a source of one of them has a reading, and the site of it or the first.
    weather: Option<(bool, bool, String)>,
    mailed: bool,
    blocks: Vec<Block>,
}

/// The steps for one farm: the one that was asked for, or the first without a block.
pub(crate) async fn page(State(web): State<Web>, signed: Signed, Query(asked): Query<Sent>) -> Shown {
    let words = signed.words();
    let store = signed.0.store();
    let caller = signed.0.caller();
    let farms = store.farms(None, LISTED).await?;
    let theirs: Vec<Farm> = farms
        .into_iter()
        .filter(|farm| farm.closed_at.is_none() && caller.may(Deed::SetUp, &farm.id))
        .collect();
    if theirs.is_empty() && !caller.may_operate() {
        return Err(Stop::NotAllowed(words.get("settings.advisors_only").to_owned()));
    }
    let mut farm = None;
    let mut first = true;
    for one in &theirs {
        let bare = store.blocks(Some(&one.id), None, 1).await?.is_empty();
        first &= bare;
        if bare && farm.is_none() {
            farm = Some(one.clone());
        }
    }
    if let Some(id) = asked.text("farm") {
        farm = Some(signed.farm(id).await?);
        signed.sets_up(id)?;
    }
    let farm = farm.or_else(|| theirs.first().cloned());
    let person = web.store.person(caller.person_id.as_deref().unwrap_or_default()).await?;
    let seen = seen(&web, &signed, farm, person).await?;
    let title = match &seen.farm {
        Some(farm) if !first => words.fill("begin.title_of", &[("farm", &farm.name)]),
        _ => words.get("begin.title").to_owned(),
    };
    let page = Page {
        words,
        title,
        first,
        steps: steps(&seen, words, signed.0.now().local_year(Tz::UTC), caller.may_operate()),
        farms: theirs.into_iter().map(|farm| (farm.id, farm.name)).collect(),
        operator: caller.may_operate(),
    };
    Ok(pages::page(StatusCode::OK, &page))
}

/// A farm's sites, or those of the server that stand open to it.
pub(super) async fn sites_for(signed: &Signed, farm_id: &str) -> Result<Vec<Site>, Stop> {
    let own = signed.0.store().sites(Some(farm_id), None, LISTED).await?;
    if !own.is_empty() {
        return Ok(own);
    }
    let all = signed.0.store().sites(None, None, LISTED).await?;
    Ok(all.into_iter().filter(|site| site.farm_id.is_none()).collect())
}

async fn seen(web: &Web, signed: &Signed, farm: Option<Farm>, person: Option<Person>) -> Result<Seen, Stop> {
    let store = signed.0.store();
    let mut sites = Vec::new();
    let mut blocks = Vec::new();
    if let Some(farm) = &farm {
        sites = sites_for(signed, &farm.id).await?;
        blocks = store.blocks(Some(&farm.id), None, LISTED).await?;
    }
    let mut weather = None;
    for site in &sites {
        let states = store.source_states(&site.id).await?;
        let came = states.iter().any(|state| state.last_at.is_some());
        let by_file = states.iter().any(|state| state.source.way == Way::File);
        if came || weather.is_none() {
            weather = Some((came, by_file, site.id.clone()));
        }
        if came {
            break;
        }
    }
    let mailed = match person {
        Some(person) => mail::went_out(&web.store, &person.email).await?,
        None => false,
    };
    Ok(Seen { farm, sites, weather, mailed, blocks })
}

fn steps(seen: &Seen, words: &'static Words, year: i32, operator: bool) -> Vec<Step> {
    let farm = seen.farm.as_ref().map(|farm| farm.id.clone()).unwrap_or_default();
    let way = |href: String, key: &'static str| (href, words.get(key).to_owned());
    let mut of_farm = Vec::new();
    if seen.farm.is_some() {
        of_farm.push(way(format!("/farms/{farm}/change"), "begin.change_farm"));
    } else if operator {
        of_farm.push(way("/farms/new".to_owned(), "begin.new_farm"));
    }
    let has_farm = seen.farm.is_some();
    let mut of_site = Vec::new();
    if has_farm {
        let key = if seen.sites.is_empty() { "begin.new_site" } else { "begin.another_site" };
        of_site.push(way(format!("/farms/{farm}/sites/new"), key));
    }
    let mut of_weather = Vec::new();
    if let Some((_, by_file, site)) = &seen.weather {
        of_weather.push(way(format!("/sites/{site}/feed-test"), "begin.look_at_feed"));
        if *by_file {
            of_weather.push(way(format!("/sites/{site}/import"), "begin.send_file"));
        }
        for other in seen.sites.iter().filter(|other| other.id != *site) {
            let said = words.fill("begin.other_site", &[("site", &other.name)]);
            of_weather.push((format!("/sites/{}/feed-test", other.id), said));
        }
    }
    let mut of_blocks = Vec::new();
    if !seen.sites.is_empty() {
        let key = if seen.blocks.is_empty() { "begin.new_block" } else { "begin.another_block" };
        of_blocks.push(way(format!("/farms/{farm}/blocks/new"), key));
        of_blocks.push(way(format!("/farms/{farm}/blocks/import"), "begin.many_blocks"));
        for block in &seen.blocks {
            let places: [(&str, &dyn std::fmt::Display); 2] = [("block", &block.name), ("year", &year)];
            of_blocks
                .push((format!("/blocks/{}/change", block.id), words.fill("begin.change_block", &places)));
            let plan = format!("/blocks/{}/seasons/{year}/plan", block.id);
            of_blocks.push((plan, words.fill("begin.plan_of", &places)));
        }
    }
    let weather = seen.weather.as_ref().is_some_and(|(came, ..)| *came);
    let of_mail = vec![way("/mail-test".to_owned(), "begin.try_mail")];
    let all = [
        (has_farm, "begin.farm", "begin.farm_said", of_farm),
        (!seen.sites.is_empty(), "begin.site", "begin.site_said", of_site),
        (weather, "begin.weather", "begin.weather_said", of_weather),
        (seen.mailed, "begin.mail", "begin.mail_said", of_mail),
        (!seen.blocks.is_empty(), "begin.block", "begin.block_said", of_blocks),
    ];
    let next = all.iter().position(|(done, ..)| !done);
    let step =
        |(place, (done, head, said, ways)): (usize, (bool, &'static str, &'static str, Vec<_>))| Step {
            head: words.get(head),
            stands: match (done, next == Some(place)) {
                (true, _) => Stands::Done,
                (false, true) => Stands::Next,
                (false, false) => Stands::Later,
            },
            said: words.get(said).to_owned(),
            ways,
        };
    all.into_iter().enumerate().map(step).collect()
}
