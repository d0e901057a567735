//! The demo's invented people. They come in as everybody does: by invitation,
//! with a password and a role on the farm.

use std::net::SocketAddr;

use access::Wanted;
use access::link::{Given, redeem};
use access::password::Passwords;
use anyhow::Context;
use model::time::Instant;
use serde_json::json;
use store::{LinkKind, Scope, Store};

use super::http::Api;
use super::orchard::FARM;
use crate::cli::say;

/// Name, address and role of each.
const PEOPLE: [(&str, &str, &str); 3] = [
    ("Hedda Brook", "hedda@quernstone.example", "advisor"),
    ("Nils Orme", "nils@quernstone.example", "grower"),
    ("Runa Vale", "runa@quernstone.example", "consultant"),
];
/// The demo listens on this machine alone unless it is told otherwise.
const PASSWORD: &str = "late frost, early bees";

/// Who does what in the play.
pub(super) struct Crew {
    /// Sets sites, blocks and plans up.
    pub(super) advisor: Api,
    /// Logs counts and sprays.
    pub(super) grower: Api,
    /// Reads.
    pub(super) consultant: Api,
}

/// Invites them all.
pub(super) async fn invite(
    operator: &Api,
    store: &Store,
    address: SocketAddr,
    now: Instant,
) -> anyhow::Result<Crew> {
    let passwords = Passwords::new().await?;
    let mut tokens = Vec::with_capacity(PEOPLE.len());
    for (name, email, role) in PEOPLE {
        let asked = json!({"email": email, "role": role});
        let made = operator.post(&format!("farms/{FARM}/invitations"), &asked).await?;
        let secret = made["path"].as_str().and_then(|path| path.rsplit('/').next());
        let given = Given { name: name.to_owned(), password: PASSWORD.to_owned(), ..Given::default() };
        let secret = secret.context("an invitation has a link")?;
        let person = redeem(store, &passwords, LinkKind::Invitation, secret, given, now).await?;
        let wanted =
            Wanted { person_id: Some(&person.id), name: "the demo's", scope: Scope::Write, expires_at: None };
        let (_, token) = access::new_token(store, wanted, now).await?;
        tokens.push(Api::new(address, &token)?);
    }
    let [advisor, grower, consultant] =
        <[Api; 3]>::try_from(tokens).map_err(|_| anyhow::anyhow!("three people were invited"))?;
    Ok(Crew { advisor, grower, consultant })
}

/// Says how to come in as one of them.
pub(super) fn introduce(address: SocketAddr) {
    for (name, email, role) in PEOPLE {
        say(&format!("{:<9} {name}: http://{address}/sign-in as {email}, password {PASSWORD:?}", role));
    }
}
