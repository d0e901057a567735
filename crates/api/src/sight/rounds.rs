//! The sprayers' round.

use axum::http::StatusCode;
use serde_json::Value;

use super::{Unseen, View};
use crate::problem::Problem;
use crate::rounds::Planned;

/// Why a round was not planned.
#[derive(Debug)]
pub enum Unplanned {
    /// The caller sees the farm and may not plan for it; who may, in a sentence.
    NotAllowed(String),
    /// What was asked for is wrong: each place, as a pointer into the document, with
    /// what is wrong there.
    Wrong(Vec<(String, String)>),
    /// The server could not.
    Failed(Unseen),
}

impl From<Problem> for Unplanned {
    fn from(problem: Problem) -> Unplanned {
        match problem.status {
            StatusCode::FORBIDDEN => Unplanned::NotAllowed(problem.detail),
            status if status.is_client_error() && !problem.errors.is_empty() => {
                let place = |pointer: Option<String>| pointer.unwrap_or_default();
                let wrong = problem.errors.into_iter().map(|wrong| (place(wrong.pointer), wrong.detail));
                Unplanned::Wrong(wrong.collect())
            }
            _ => Unplanned::Failed(problem.into()),
        }
    }
}

impl View {
    /// Plans the round of a farm's sprayers; `document` is what the API takes.
    ///
    /// # Errors
    /// When the caller may not, when something is wrong with what is asked, or when the
    /// server cannot.
    pub async fn round(&self, farm_id: &str, document: &Value) -> Result<Planned, Unplanned> {
        Ok(self.visit.round(farm_id, document).await?)
    }
}
