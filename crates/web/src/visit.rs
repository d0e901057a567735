//! Who looks at a page, and what they may see there.

use access::{Deed, Denied};
use api::{SeasonSeen, Undone, Unseen, View};
use axum::Extension;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use chrono_tz::Tz;
use store::{Block, Farm, Site, StoreError};

use crate::guard::WayIn;
use crate::said::Reader;
use crate::sign_in::in_cookies;
use crate::words::{self, Words};
use crate::{Web, pages};

/// Farms whose sites are looked for where a page is of none.
const FARMS_LOOKED_AT: u32 = 20;

/// Someone who is signed in, with what they see.
pub(crate) struct Signed(pub(crate) View);

impl FromRequestParts<Web> for Signed {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<Signed, Response> {
        let to_sign_in = || Redirect::to("/sign-in").into_response();
        let Extension(way) =
            Extension::<WayIn>::from_request_parts(parts, web).await.map_err(IntoResponse::into_response)?;
        let cookie = way.privacy.cookie().ok_or_else(to_sign_in)?;
        let secret = in_cookies(&parts.headers, cookie).ok_or_else(to_sign_in)?;
        match access::signed_in(&web.store, secret, web.clock.now()).await {
            Ok(caller) => Ok(Signed(web.sight.of(caller))),
            Err(Denied::NoToken) => Err(to_sign_in()),
            Err(Denied::Store(error)) => Err(pages::failed(&error)),
        }
    }
}

/// Why a page is not shown.
#[derive(Debug)]
pub(crate) enum Stop {
    /// It is not there, or belongs to a farm that is not theirs: the same answer.
    NotThere(String),
    /// They see it, and it is not theirs to do.
    NotAllowed(String),
    /// The server could not.
    Failed(String),
    /// The API would not do it.
    Undone(Undone),
}

impl IntoResponse for Stop {
    fn into_response(self) -> Response {
        match self {
            Stop::NotThere(what) => pages::refused(StatusCode::NOT_FOUND, &what),
            Stop::NotAllowed(who) => pages::refused(StatusCode::FORBIDDEN, &who),
            Stop::Failed(why) => pages::failed(&why),
            Stop::Undone(undone) => match StatusCode::from_u16(undone.status) {
                Ok(status) if status.is_client_error() => pages::refused(status, &undone.detail),
                _ => pages::failed(&undone.detail),
            },
        }
    }
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Stop {
        Stop::Failed(error.to_string())
    }
}

impl From<Unseen> for Stop {
    fn from(error: Unseen) -> Stop {
        Stop::Failed(error.to_string())
    }
}

impl From<Undone> for Stop {
    fn from(undone: Undone) -> Stop {
        Stop::Undone(undone)
    }
}

/// What a handler gives.
pub(crate) type Shown = Result<Response, Stop>;

/// On to a page after something was done, so that loading it again does nothing.
pub(crate) fn on_to(path: &str) -> Shown {
    Ok(Redirect::to(path).into_response())
}

impl Signed {
    /// The words of their pages.
    pub(crate) fn words(&self) -> &'static Words {
        words::english()
    }

    /// A page that a phone may keep for where there is no signal, with whose it is: it
    /// drops what it kept when that is someone else.
    pub(crate) fn keepable(&self, mut response: Response) -> Response {
        let whose = self.0.caller().person_id.as_deref().unwrap_or_default();
        if let Ok(whose) = HeaderValue::from_str(whose) {
            response.headers_mut().insert("bloomtide-person", whose);
        }
        response
    }

    /// A farm of theirs.
    pub(crate) async fn farm(&self, id: &str) -> Result<Farm, Stop> {
        let farm = self.0.store().farm(id).await?;
        farm.ok_or_else(|| self.not_there("refused.no_farm"))
    }

    /// A site of a farm of theirs, or one of the server's own.
    pub(crate) async fn site(&self, id: &str) -> Result<(Site, Tz), Stop> {
        let site = self.0.store().site(id).await?;
        let site = site.ok_or_else(|| self.not_there("refused.no_site"))?;
        let zone = zone_of(&site)?;
        Ok((site, zone))
    }

    /// Whether they may do something on a farm, which is not closed.
    pub(crate) fn may(&self, deed: Deed, farm: &Farm) -> bool {
        farm.closed_at.is_none() && self.0.caller().may(deed, &farm.id)
    }

    /// A block of theirs, with its farm.
    pub(crate) async fn block(&self, id: &str) -> Result<(Block, Farm), Stop> {
        let not_there = || self.not_there("refused.no_block");
        let block = self.0.store().block(id).await?.ok_or_else(not_there)?;
        let farm = self.0.store().farm(&block.farm_id).await?.ok_or_else(not_there)?;
        Ok((block, farm))
    }

    /// A season of a block.
    pub(crate) async fn season(&self, block: &Block, year: i32) -> Result<SeasonSeen, Stop> {
        let season = self.0.season(block, year).await?;
        season.ok_or_else(|| {
            let words = self.words();
            Stop::NotThere(words.fill("refused.no_season", &[("block", &block.name), ("year", &year)]))
        })
    }

    /// The zone of a block's wall clock.
    pub(crate) async fn zone(&self, block: &Block) -> Result<Tz, Stop> {
        let site = self.0.store().site(&block.site_id).await?;
        let name = site.map(|site| site.time_zone).unwrap_or_default();
        model::time::zone(&name).map_err(|error| Stop::Failed(error.to_string()))
    }

    /// The zone of the wall clock by which a farm's pages tell time: that of its first
    /// site, or of the one whose weather its first block has. A farm without either and a
    /// page of no farm go by the first of the reader's farms that has one, else by UTC.
    pub(crate) async fn farm_zone(&self, farm: Option<&Farm>) -> Result<Tz, Stop> {
        if let Some(farm) = farm
            && let Some(site) = self.first_site(&farm.id).await?
        {
            return zone_of(&site);
        }
        for farm in self.0.store().farms(None, FARMS_LOOKED_AT).await? {
            if let Some(site) = self.first_site(&farm.id).await? {
                return zone_of(&site);
            }
        }
        Ok(Tz::UTC)
    }

    async fn first_site(&self, farm_id: &str) -> Result<Option<Site>, Stop> {
        let store = self.0.store();
        if let Some(own) = store.sites(Some(farm_id), None, 1).await?.pop() {
            return Ok(Some(own));
        }
        match store.blocks(Some(farm_id), None, 1).await?.pop() {
            Some(block) => Ok(store.site(&block.site_id).await?),
            None => Ok(None),
        }
    }

    /// As they read what is on that wall clock.
    pub(crate) fn reader(&self, zone: Tz) -> Reader {
        Reader { zone, units: self.0.caller().units, words: self.words() }
    }

    /// The bloom year in a path.
    pub(crate) fn year(&self, text: &str) -> Result<i32, Stop> {
        let year = text.parse().ok().filter(|year| text.len() == 4 && (1900..2200).contains(year));
        year.ok_or_else(|| Stop::NotThere(self.words().fill("refused.no_year", &[("typed", &text)])))
    }

    fn not_there(&self, key: &str) -> Stop {
        Stop::NotThere(self.words().get(key).to_owned())
    }
}

fn zone_of(site: &Site) -> Result<Tz, Stop> {
    model::time::zone(&site.time_zone).map_err(|error| Stop::Failed(error.to_string()))
}
