//! Sites: points on the map with weather.

use access::Deed;
use axum::extract::Path;
use model::input;
use model::site::Place;
use serde_json::{Value, json};
use store::Site;

use crate::answer::{Answer, created, ok, page};
use crate::desk::{Here, Visit};
use crate::fields;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::request::Document;

pub(crate) async fn list(Here(desk): Here, mut query: Query) -> Answer {
    let (after, limit) = query.page();
    let farm = query.text("farm_id");
    query.finish()?;
    let sites = desk.store.sites(farm.as_deref(), after.as_deref(), limit + 1).await?;
    page(sites, limit, |site| site.id.clone(), render)
}

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
    created(&format!("/api/v1/sites/{}", site.id), render(&site))
}

pub(crate) async fn one(Here(desk): Here, Path(id): Path<String>, query: Query) -> Answer {
    query.finish()?;
    ok(render(&desk.site(&id).await?))
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

fn render(site: &Site) -> Value {
    json!({
        "id": site.id,
        "farm_id": site.farm_id,
        "name": site.name,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
        "time_zone": site.time_zone,
        "version": site.version,
        "created_at": site.created_at,
    })
}
