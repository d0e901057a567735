//! Sites: points on the map with weather.

use access::Deed;
use axum::extract::Path;
use model::input;
use model::site::Place;
use model::time::Instant;
use serde::Serialize;
use serde_json::Value;
use store::Site;
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, created, ok, page};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page, Paging};

/// A point on the map with weather.
#[derive(Serialize, ToSchema)]
pub(crate) struct SiteShown {
    id: String,
    /// The farm it belongs to; null for the server's own, which takes feeds only.
    farm_id: Option<String>,
    name: String,
    /// Degrees, north positive.
    #[schema(minimum = -90, maximum = 90)]
    latitude: f64,
    /// Degrees, east positive.
    #[schema(minimum = -180, maximum = 180)]
    longitude: f64,
    /// Metres above sea level.
    elevation_m: Option<f64>,
    /// IANA zone.
    time_zone: String,
    /// Raised with each change of its readings or forecast.
    version: i64,
    #[schema(value_type = Moment)]
    created_at: Instant,
}

/// A site as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct SiteAdded {
    /// 1 to 64 letters, digits, `_` or `-`; made by the server when not given.
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    /// Null makes a site of the server's own: for operators.
    farm_id: Option<String>,
    #[schema(max_length = 200)]
    name: String,
    #[schema(minimum = -90, maximum = 90)]
    latitude: f64,
    #[schema(minimum = -180, maximum = 180)]
    longitude: f64,
    elevation_m: Option<f64>,
    /// IANA zone, like `America/New_York`.
    time_zone: String,
}

/// Of which farm.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct OfFarm {
    /// Only those of this farm.
    farm_id: Option<String>,
}

/// The sites that the caller sees, the server's own among them.
#[utoipa::path(get, path = "/sites", tag = "sites", operation_id = "list-sites", params(Paging, OfFarm),
    responses((status = 200, body = Page<SiteShown>)))]
pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let farm = query.text("farm_id");
    let span = query.page();
    query.finish()?;
    let sites = desk.store.sites(farm.as_deref(), span.after(), span.limit + 1).await?;
    page(sites, &span, |site| site.id.clone(), shown)
}

/// Adds a site.
#[utoipa::path(post, path = "/sites", tag = "sites", operation_id = "add-site", request_body = SiteAdded,
    responses((status = 201, body = SiteShown)))]
pub(crate) async fn add(Here(desk): Here, query: Query, Document(document): Document) -> Answer {
    query.finish()?;
    let now = desk.now();
    let read = input::read(&document, |fields| {
        let id = fields::given_id(fields);
        let farm_id = fields.text("farm_id");
        let name = fields::name(fields, "name");
        let place = Place::from_fields(fields)?;
        Some(Site {
            id: id.unwrap_or_else(|| desk.new_id()),
            farm_id,
            name: name?,
            latitude: place.latitude,
            longitude: place.longitude,
            elevation_m: place.elevation_m,
            time_zone: place.zone.name().to_owned(),
            version: 1,
            created_at: now,
        })
    });
    let farm_id = document.get("farm_id").and_then(Value::as_str);
    let site = desk.with_farm(farm_id, read).await?;
    desk.allow(Deed::SetUp, site.farm_id.as_deref())?;
    desk.store.add_site(&site).await?;
    created(&format!("/api/v1/sites/{}", site.id), shown(&site))
}

/// One site.
#[utoipa::path(get, path = "/sites/{id}", tag = "sites", operation_id = "read-site",
    params(("id" = String, Path)), responses((status = 200, body = SiteShown)))]
pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(shown(&desk.site(&id).await?))
}

impl Visit {
    /// A site that must be there.
    pub(crate) async fn site(&self, id: &str) -> Result<Site, Problem> {
        let site = self.store.site(id).await?;
        site.ok_or_else(|| Problem::not_found(format!("There is no site `{id}`.")))
    }

    /// What was read, when the farm that it names is there too; otherwise all
    /// that is wrong at once.
    pub(crate) async fn with_farm<T>(
        &self,
        farm_id: Option<&str>,
        read: Result<T, input::Faults>,
    ) -> Result<T, Problem> {
        let mut wrong = Vec::new();
        if let Some(id) = farm_id
            && self.store.farm(id).await?.is_none()
        {
            let detail = format!("there is no farm `{id}`");
            wrong.push(Wrong::from(input::Fault { pointer: "/farm_id".into(), detail }));
        }
        match read {
            Ok(read) if wrong.is_empty() => Ok(read),
            Ok(_) => Err(Problem::invalid(wrong)),
            Err(faults) => {
                Err(Problem::invalid(faults.0.into_iter().map(Wrong::from).chain(wrong).collect()))
            }
        }
    }
}

/// The place of a stored site.
pub(crate) fn place(site: &Site) -> Result<Place, Problem> {
    let zone = model::time::zone(&site.time_zone).map_err(|error| {
        tracing::error!(site = site.id, %error, "a stored site has a zone that this program does not know");
        Problem::failed()
    })?;
    Ok(Place { latitude: site.latitude, longitude: site.longitude, elevation_m: site.elevation_m, zone })
}

pub(crate) fn shown(site: &Site) -> SiteShown {
    let Site { id, farm_id, name, latitude, longitude, elevation_m, time_zone, version, created_at } =
        site.clone();
    SiteShown { id, farm_id, name, latitude, longitude, elevation_m, time_zone, version, created_at }
}
