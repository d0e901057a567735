//! `user`: helps people to sign in.

use anyhow::bail;
use store::Store;

use crate::cli::{ResetArgs, say};
use crate::clock;

/// Makes a link for a new password.
pub(crate) async fn reset(args: ResetArgs) -> anyhow::Result<()> {
    let store = Store::open(&args.database.in_force()?).await?;
    let made = access::link::reset(&store, args.email.trim(), clock::system().now()).await;
    store.close().await?;
    let Some(secret) = made? else {
        bail!("nobody here has the address {}; the farm's people are listed by the API", args.email);
    };
    let address = args.public_url.trim_end_matches('/');
    say(&format!("a new password is chosen here, once, within an hour: {address}/reset/{secret}"));
    Ok(())
}
