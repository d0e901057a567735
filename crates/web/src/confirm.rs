//! The page on which the owner of an address agrees to a farm's alerts.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use store::{Contact, StoreError};

use crate::words::english;
use crate::{Web, pages};

/// Refuses a link that is not ours.
fn unknown() -> Response {
    pages::refused(StatusCode::NOT_FOUND, english().get("confirm.unknown"))
}

/// The contact of a link and its address, when the link is ours.
async fn of_link(web: &Web, id: &str, mark: &str) -> Result<Option<(Contact, String)>, StoreError> {
    let Some(contact) = web.store.contact(id).await? else { return Ok(None) };
    // Of a link that was used already the address is the one that stands.
    let address = contact.to_confirm().unwrap_or(&contact.email).to_owned();
    Ok(web.seal.is_of_address(id, &address, mark).then_some((contact, address)))
}

/// Shows the button; opening the page changes nothing.
pub(crate) async fn form(State(web): State<Web>, Path((id, mark)): Path<(String, String)>) -> Response {
    let (contact, address) = match of_link(&web, &id, &mark).await {
        Ok(Some(found)) => found,
        Ok(None) => return unknown(),
        Err(error) => return pages::failed(&error),
    };
    let farm = match web.store.farm(&contact.farm_id).await {
        Ok(farm) => farm.map(|farm| farm.name).unwrap_or_default(),
        Err(error) => return pages::failed(&error),
    };
    let words = english();
    let lead = words.fill("confirm.lead", &[("farm", &farm), ("address", &address)]);
    pages::page(
        StatusCode::OK,
        &pages::Link {
            words,
            title: words.get("confirm.title"),
            lead,
            wrong: None,
            asks_name: false,
            asks_email: false,
            asks_password: false,
            name: String::new(),
            email: String::new(),
            button: words.get("confirm.do"),
        },
    )
}

/// Confirms the address.
pub(crate) async fn confirm(State(web): State<Web>, Path((id, mark)): Path<(String, String)>) -> Response {
    let confirmed = async {
        match of_link(&web, &id, &mark).await? {
            Some((contact, address)) => {
                web.store.confirm_contact(&contact.id, &address, web.clock.now()).await
            }
            None => Ok(false),
        }
    };
    match confirmed.await {
        Ok(true) => pages::page(
            StatusCode::OK,
            &pages::Told {
                words: english(),
                title: english().get("confirm.title"),
                what: english().get("confirm.done"),
            },
        ),
        Ok(false) => unknown(),
        Err(error) => pages::failed(&error),
    }
}
