//! Hooks: addresses that are called with a farm's alerts, after the Standard
//! Webhooks specification. For the farm's advisors, since whoever may set one up
//! has its alerts sent anywhere.

use access::Deed;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use model::alert_kind::AlertKind;
use model::input::{self, Fields};
use model::time::{DAY, Instant};
use serde::Serialize;
use store::{Hook, HookSecret};
use utoipa::ToSchema;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::once::Secret;
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};
use crate::{fields, limits};

/// A secret that was replaced signs along for so long.
const SIGNS_ALONG: i64 = DAY;

/// An address that is called with a farm's alerts.
#[derive(Serialize, ToSchema)]
pub(crate) struct HookShown {
    id: String,
    farm_id: String,
    name: String,
    url: String,
    /// The kinds of alerts it is called with; null for all. A `withdrawn` follows
    /// whatever was called, named or not.
    kinds: Option<Vec<String>>,
    /// Whether it is called.
    on: bool,
    /// When it was switched off, by people or because the receiver answered 410.
    #[schema(value_type = Option<Moment>)]
    off_at: Option<Instant>,
    off_because: Option<String>,
    /// What signs its calls, the newest last; the secrets themselves are not shown.
    secrets: Vec<SecretShown>,
    #[schema(value_type = Moment)]
    created_at: Instant,
}

/// A secret of a hook.
#[derive(Serialize, ToSchema)]
pub(crate) struct SecretShown {
    #[schema(value_type = Moment)]
    made_at: Instant,
    /// Until when it signs along; null for the one in use.
    #[schema(value_type = Option<Moment>)]
    until: Option<Instant>,
}

/// A hook with its new secret.
#[derive(Serialize, ToSchema)]
pub(crate) struct HookWithSecret {
    #[serde(flatten)]
    hook: HookShown,
    /// Shown in this answer alone; null when the same request is answered again.
    secret: Option<String>,
}

/// A hook as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct HookAdded {
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    #[schema(max_length = 200)]
    name: String,
    /// Where the calls go: https, and no address of a private network.
    #[schema(max_length = 2000)]
    url: String,
    /// Kinds of alerts; null or left out for all.
    #[schema(min_items = 1)]
    kinds: Option<Vec<String>>,
}

/// What changes about a hook.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct HookChange {
    #[schema(nullable = false, max_length = 200)]
    name: Option<String>,
    #[schema(nullable = false, max_length = 2000)]
    url: Option<String>,
    /// Null for all.
    #[schema(min_items = 1)]
    kinds: Option<Vec<String>>,
    /// Switched off, what waits is given up.
    #[schema(nullable = false)]
    on: Option<bool>,
}

/// The hooks of a farm. For its advisors.
#[utoipa::path(get, path = "/farms/{id}/hooks", tag = "hooks", operation_id = "list-hooks",
    params(("id" = String, Path)), responses((status = 200, body = Page<HookShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(farm): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.review(&farm.id)?;
    whole(desk.store.hooks_of(&farm.id).await?.iter().map(shown).collect())
}

/// Adds a hook. The secret that its calls are signed with is in this answer and
/// nowhere else.
#[utoipa::path(post, path = "/farms/{id}/hooks", tag = "hooks", operation_id = "add-hook",
    params(("id" = String, Path)), request_body = HookAdded, responses((status = 201, body = HookWithSecret)))]
pub(crate) async fn add(
    Here(desk): Here,
    Path(farm): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let farm = desk.farm(&farm).await?;
    desk.allow(Deed::SetUp, Some(&farm.id))?;
    let now = desk.now();
    let (id, name, url, kinds) = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let name = fields::name(fields, "name");
        let url = read_url(&desk, fields);
        let kinds = read_kinds(fields);
        Some((id, name?, url?, kinds))
    })?;
    if desk.store.hooks_of(&farm.id).await?.len() >= limits::HOOKS {
        let detail = format!("A farm has at most {} hooks; remove one that is not used.", limits::HOOKS);
        return Err(Problem::conflict(detail));
    }
    let secret = new_secret()?;
    let hook = Hook {
        id: id.unwrap_or_else(|| desk.new_id()),
        farm_id: farm.id,
        name,
        url,
        kinds,
        secrets: vec![HookSecret { secret: secret.clone(), made_at: now, until: None }],
        created_at: now,
        off_at: None,
        off_because: None,
        version: 1,
    };
    desk.store.add_hook(&hook).await?;
    with_secret(created(&format!("/api/v1/hooks/{}", hook.id), shown_with(&hook, secret)))
}

/// One hook. For the farm's advisors.
#[utoipa::path(get, path = "/hooks/{id}", tag = "hooks", operation_id = "read-hook",
    params(("id" = String, Path)), responses((status = 200, body = HookShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let hook = desk.hook(&id).await?;
    desk.review(&hook.farm_id)?;
    ok(shown(&hook))
}

/// Changes the fields that are given, and no other.
#[utoipa::path(patch, path = "/hooks/{id}", tag = "hooks", operation_id = "change-hook",
    params(("id" = String, Path)), request_body = HookChange, responses((status = 200, body = HookShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let held = desk.hook(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    if_match.check(&shown(&held))?;
    let hook = input::read(&document, |fields| read_change(&desk, fields, &held))?;
    if hook != held {
        desk.store.change_hook(&held, &hook).await?;
    }
    changed(shown(&hook))
}

/// Removes a hook with its deliveries.
#[utoipa::path(delete, path = "/hooks/{id}", tag = "hooks", operation_id = "remove-hook",
    params(("id" = String, Path)), responses((status = 204)))]
pub(crate) async fn remove(
    Here(desk): Here,
    Path(id): Path<String>,
    query: Query,
    if_match: IfMatch,
) -> Answer {
    query.finish()?;
    let held = desk.hook(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    if_match.check(&shown(&held))?;
    desk.store.remove_hook(&held).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// Makes a hook a new secret, which is in this answer and nowhere else. The one
/// before signs along for 24 hours. The body, if any, is not read.
#[utoipa::path(post, path = "/hooks/{id}/secret", tag = "hooks", operation_id = "change-hook-secret",
    params(("id" = String, Path)), responses((status = 200, body = HookWithSecret)))]
pub(crate) async fn rotate(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let held = desk.hook(&id).await?;
    desk.allow(Deed::SetUp, Some(&held.farm_id))?;
    let (now, secret) = (desk.now(), new_secret()?);
    let mut hook = held.clone();
    hook.secrets.retain(|one| one.holds(now));
    for one in &mut hook.secrets {
        one.until = one.until.or(Some(now.plus(SIGNS_ALONG)));
    }
    if hook.secrets.len() >= limits::HOOK_SECRETS {
        let detail = format!(
            "{} secrets of this hook sign still; wait until the first has ended.",
            hook.secrets.len()
        );
        return Err(Problem::conflict(detail));
    }
    hook.secrets.push(HookSecret { secret: secret.clone(), made_at: now, until: None });
    desk.store.change_hook(&held, &hook).await?;
    with_secret(changed(shown_with(&hook, secret)))
}

fn read_change(desk: &Visit, fields: &Fields<'_>, held: &Hook) -> Option<Hook> {
    let mut hook = held.clone();
    if fields.raw().contains_key("name") {
        hook.name = fields::name(fields, "name")?;
    }
    if fields.raw().contains_key("url") {
        hook.url = read_url(desk, fields)?;
    }
    if fields.raw().contains_key("kinds") {
        hook.kinds = read_kinds(fields);
    }
    match (fields.flag("on"), held.off_at) {
        (Some(true), _) => (hook.off_at, hook.off_because) = (None, None),
        (Some(false), None) => {
            hook.off_at = Some(desk.now());
            hook.off_because = Some("switched off by hand".to_owned());
        }
        _ => {}
    }
    Some(hook)
}

fn read_url(desk: &Visit, fields: &Fields<'_>) -> Option<String> {
    let url = fields.required_text("url")?;
    if url.len() > limits::URL_BYTES {
        fields.fault("url", format!("expected at most {} bytes", limits::URL_BYTES));
        return None;
    }
    (desk.app.callable)(&url).map_err(|cause| fields.fault("url", cause)).ok().map(|()| url)
}

fn read_kinds(fields: &Fields<'_>) -> Option<Vec<String>> {
    fields.value("kinds")?;
    let kinds = fields.texts("kinds");
    for (n, kind) in kinds.iter().enumerate() {
        if AlertKind::named(kind).is_none() {
            let known = AlertKind::WORDS.join(", ");
            fields.fault("kinds", format!("`{kind}` is no kind of alert; expected some of: {known}"));
        } else if kinds[..n].contains(kind) {
            fields.fault("kinds", format!("`{kind}` stands there twice"));
        }
    }
    Some(kinds)
}

fn new_secret() -> Result<String, Problem> {
    access::hook_secret().map_err(|error| {
        tracing::error!(%error, "no secret could be made");
        Problem::failed()
    })
}

/// Marks an answer as one with a secret, which is not kept.
fn with_secret(answer: Answer) -> Answer {
    let mut response = answer?;
    response.extensions_mut().insert(Secret("secret"));
    Ok(response)
}

impl Visit {
    /// A hook that must be there.
    pub(crate) async fn hook(&self, id: &str) -> Result<Hook, Problem> {
        let hook = self.store.hook(id).await?;
        hook.ok_or_else(|| Problem::not_found(format!("There is no hook `{id}`.")))
    }

    /// Lets the farm's advisors alone see where its alerts go.
    pub(crate) fn review(&self, farm_id: &str) -> Result<(), Problem> {
        if self.caller.may_review(farm_id) {
            return Ok(());
        }
        Err(Problem::not_allowed("an advisor of this farm"))
    }
}

fn shown(hook: &Hook) -> HookShown {
    let secrets = hook.secrets.iter();
    HookShown {
        id: hook.id.clone(),
        farm_id: hook.farm_id.clone(),
        name: hook.name.clone(),
        url: hook.url.clone(),
        kinds: hook.kinds.clone(),
        on: hook.off_at.is_none(),
        off_at: hook.off_at,
        off_because: hook.off_because.clone(),
        secrets: secrets.map(|one| SecretShown { made_at: one.made_at, until: one.until }).collect(),
        created_at: hook.created_at,
    }
}

fn shown_with(hook: &Hook, secret: String) -> HookWithSecret {
    HookWithSecret { hook: shown(hook), secret: Some(secret) }
}
