//! What a contact wants to hear nothing of, until the season's state changes.

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::input;
use model::time::Instant;
use serde::Serialize;
use store::Mute;
use utoipa::ToSchema;

use crate::answer::{Answer, created, whole};
use crate::conditional::IfMatch;
use crate::desk::Here;
use crate::fields;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};

/// A block of which a contact hears nothing while its season stays in a state.
#[derive(Serialize, ToSchema)]
pub(crate) struct MuteShown {
    contact_id: String,
    block_id: String,
    year: i32,
    /// The state; with another one alerts come again.
    state: String,
    #[schema(value_type = Moment)]
    at: Instant,
}

/// What to mute.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct MuteGiven {
    block_id: String,
    #[schema(minimum = 1900, maximum = 2199)]
    year: i32,
}

/// What a contact wants to hear nothing of.
#[utoipa::path(get, path = "/contacts/{id}/mutes", tag = "contacts", operation_id = "list-mutes",
    params(("id" = String, Path)), responses((status = 200, body = Page<MuteShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let contact = desk.contact(&id).await?;
    let mutes = desk.store.mutes_of(&contact.id).await?;
    whole(mutes.iter().map(shown).collect())
}

/// Mutes one block for a contact until its season's state changes.
#[utoipa::path(post, path = "/contacts/{id}/mutes", tag = "contacts", operation_id = "mute-block",
    params(("id" = String, Path)), request_body = MuteGiven, responses((status = 201, body = MuteShown)))]
pub(crate) async fn mute(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let contact = desk.contact(&id).await?;
    desk.allow(Deed::Log, Some(&contact.farm_id))?;
    let (block_id, year) = input::read(&document, |fields| {
        let block = fields.required_text("block_id");
        let year = fields.require("year").then(|| fields.whole("year", 1900, 2199)).flatten();
        Some((block?, i32::try_from(year?).ok()?))
    })?;
    let block = desk.block(&block_id).await?;
    let season = desk.store.season(&block.id, year).await?;
    let state = season.filter(|_| block.farm_id == contact.farm_id).and_then(|season| season.reckoned);
    let Some(state) = state.map(|reckoned| reckoned.state) else {
        let detail = format!("Block `{block_id}` of that farm has no reckoned season {year} to mute.");
        return Err(Problem::not_found(detail));
    };
    let mute = Mute { contact_id: contact.id, block_id, year, state, at: desk.now() };
    desk.store.mute(&mute).await?;
    let place = format!("/api/v1/contacts/{}/mutes/{}/{year}", mute.contact_id, mute.block_id);
    created(&place, shown(&mute))
}

/// Lets a contact hear of a block again.
#[utoipa::path(delete, path = "/contacts/{id}/mutes/{block}/{year}", tag = "contacts", operation_id = "unmute-block",
    params(("id" = String, Path), ("block" = String, Path), ("year" = i32, Path, minimum = 1900, maximum = 2199)),
    responses((status = 204)))]
pub(crate) async fn unmute(
    Here(desk): Here,
    Path((id, block, year)): Path<(String, String, String)>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let contact = desk.contact(&id).await?;
    desk.allow(Deed::Log, Some(&contact.farm_id))?;
    let year = fields::year(&year)?;
    let mutes = desk.store.mutes_of(&contact.id).await?;
    let held = mutes.iter().find(|mute| mute.block_id == block && mute.year == year);
    let Some(held) = held else {
        return Err(Problem::not_found(format!("Block `{block}` is not muted for {year}.")));
    };
    if_match.check(&shown(held))?;
    desk.store.unmute(&contact.id, &block, year).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

fn shown(mute: &Mute) -> MuteShown {
    let Mute { contact_id, block_id, year, state, at } = mute.clone();
    MuteShown { contact_id, block_id, year, state, at }
}
