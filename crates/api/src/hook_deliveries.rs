//! The calls of hooks: what was sent, what came of it, and once more by hand.

use access::Deed;
use axum::extract::Path;
use model::time::Instant;
use serde::Serialize;
use store::{Hook, HookCall};
use utoipa::ToSchema;

use crate::answer::{Answer, created, ok, page};
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::{Moment, Page, Paging};

/// One call of a hook, however often it is made.
#[derive(Serialize, ToSchema)]
pub(crate) struct DeliveryShown {
    /// The receiver gets it as `webhook-id` with every try.
    id: String,
    hook_id: String,
    /// Null for a test.
    alert_id: Option<String>,
    /// `alert.due`, `alert.heads_up` and so on; or `test`.
    r#type: String,
    /// `waiting`, `delivered` or `failed`.
    state: &'static str,
    /// Times that it was made.
    attempts: i64,
    /// When what it tells was decided.
    #[schema(value_type = Moment)]
    created_at: Instant,
    #[schema(value_type = Option<Moment>)]
    next_try_at: Option<Instant>,
    /// HTTP status of the last answer; null where none came.
    last_status: Option<i64>,
    last_error: Option<String>,
    #[schema(value_type = Option<Moment>)]
    replayed_at: Option<Instant>,
    /// When it was delivered or given up.
    #[schema(value_type = Option<Moment>)]
    done_at: Option<Instant>,
}

/// One call with what is sent.
#[derive(Serialize, ToSchema)]
pub(crate) struct DeliveryWhole {
    #[serde(flatten)]
    delivery: DeliveryShown,
    /// The bytes as they are sent, JSON; null until it was made first.
    body: Option<String>,
}

/// The calls of a hook, the latest first. For the farm's advisors.
#[utoipa::path(get, path = "/hooks/{id}/deliveries", tag = "hooks", operation_id = "list-hook-deliveries",
    params(("id" = String, Path), Paging), responses((status = 200, body = Page<DeliveryShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(id): Path<String>, mut query: Query) -> Answer {
    let span = query.page();
    query.finish()?;
    let hook = desk.hook(&id).await?;
    desk.review(&hook.farm_id)?;
    let calls = desk.store.hook_calls(&hook.id, span.after(), span.limit + 1).await?;
    page(calls, &span, |call| call.id.clone(), shown)
}

/// Calls a hook with a test, which tells of nothing. The body, if any, is not read.
#[utoipa::path(post, path = "/hooks/{id}/test", tag = "hooks", operation_id = "test-hook",
    params(("id" = String, Path)), responses((status = 201, body = DeliveryWhole)))]
pub(crate) async fn try_out(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let hook = desk.hook(&id).await?;
    desk.allow(Deed::SetUp, Some(&hook.farm_id))?;
    must_be_on(&hook)?;
    let call = desk.new_id();
    desk.store.add_test_call(&call, &hook.id, desk.now()).await?;
    desk.hand_out();
    let (call, _) = desk.delivery(&call).await?;
    created(&format!("/api/v1/hook-deliveries/{}", call.id), whole(&call))
}

/// One call with what is sent. For the farm's advisors.
#[utoipa::path(get, path = "/hook-deliveries/{id}", tag = "hooks", operation_id = "read-hook-delivery",
    params(("id" = String, Path)), responses((status = 200, body = DeliveryWhole)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let (call, hook) = desk.delivery(&id).await?;
    desk.review(&hook.farm_id)?;
    ok(whole(&call))
}

/// Makes a call once more, whatever became of it: under the same id and with the
/// same bytes. The body, if any, is not read.
#[utoipa::path(post, path = "/hook-deliveries/{id}/replay", tag = "hooks", operation_id = "replay-hook-delivery",
    params(("id" = String, Path)), responses((status = 200, body = DeliveryWhole)))]
pub(crate) async fn replay(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let (call, hook) = desk.delivery(&id).await?;
    desk.allow(Deed::SetUp, Some(&hook.farm_id))?;
    must_be_on(&hook)?;
    if !desk.store.replay_call(&call.id, desk.now()).await? {
        return Err(Problem::conflict("This call is being made just now; wait for what comes of it."));
    }
    desk.hand_out();
    ok(whole(&desk.delivery(&id).await?.0))
}

fn must_be_on(hook: &Hook) -> Result<(), Problem> {
    if hook.off_at.is_none() {
        return Ok(());
    }
    Err(Problem::conflict("This hook is switched off; switch it on first, with `\"on\": true`."))
}

impl Visit {
    /// A call that must be there, with its hook.
    async fn delivery(&self, id: &str) -> Result<(HookCall, Hook), Problem> {
        let missing = || Problem::not_found(format!("There is no delivery `{id}`."));
        let call = self.store.hook_call(id).await?.ok_or_else(missing)?;
        let hook = self.store.hook(&call.hook_id).await?.ok_or_else(missing)?;
        Ok((call, hook))
    }
}

fn shown(call: &HookCall) -> DeliveryShown {
    DeliveryShown {
        id: call.id.clone(),
        hook_id: call.hook_id.clone(),
        alert_id: call.alert_id.clone(),
        r#type: call.kind.clone(),
        state: call.state.word(),
        attempts: call.attempts,
        created_at: call.created_at,
        next_try_at: call.next_try_at,
        last_status: call.last_status,
        last_error: call.last_error.clone(),
        replayed_at: call.replayed_at,
        done_at: call.done_at,
    }
}

fn whole(call: &HookCall) -> DeliveryWhole {
    DeliveryWhole { delivery: shown(call), body: call.body.clone() }
}
