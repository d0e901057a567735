//! Whether the process is up, and whether it can work.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::Json;
use axum::extract::State;
use serde_json::{Value, json};

use crate::desk::Desk;
use crate::problem::Problem;

/// A database that takes longer than this to answer is as good as away for
/// whoever decides where to send requests.
const LONGEST_PING: Duration = Duration::from_secs(3);

/// The process is up.
pub(crate) async fn healthz(State(desk): State<Arc<Desk>>) -> Json<Value> {
    Json(json!({"status": "up", "version": desk.app.version}))
}

/// The database answers.
pub(crate) async fn readyz(State(desk): State<Arc<Desk>>) -> Result<Json<Value>, Problem> {
    if !desk.app.sound.load(Ordering::Relaxed) {
        return Err(Problem::busy("The database is being looked through after the start."));
    }
    match tokio::time::timeout(LONGEST_PING, desk.house_store.ping()).await {
        Ok(Ok(())) => Ok(Json(how_it_stands(&desk).await)),
        Ok(Err(error)) => {
            tracing::error!(%error, "the database does not answer");
            Err(Problem::busy("The database does not answer."))
        }
        Err(_) => Err(Problem::busy("The database does not answer in time.")),
    }
}

/// Ready, and what whoever looks on should see: it never makes an instance unready,
/// since another one would fare no better.
async fn how_it_stands(desk: &Desk) -> Value {
    let now = desk.now();
    let store = &desk.house_store;
    let found = tokio::time::timeout(LONGEST_PING, async {
        tokio::try_join!(store.figures(now), store.oldest_unsent())
    });
    match found.await {
        Ok(Ok((figures, oldest))) => json!({
            "status": "ready",
            "oldest_unsent_seconds": oldest.map_or(0, |at| now.since(at).max(0)),
            "blind_sites": figures.blind_sites,
            "stuck_jobs": figures.stuck,
            "journals_unread": figures.unread_journals,
        }),
        _ => json!({"status": "ready"}),
    }
}
