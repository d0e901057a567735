//! Sources: where a site's temperatures come from, and how its files are read.

use access::Deed;
use axum::extract::Path;
use model::input::{self, Fields};
use model::series::Kind;
use model::site::Place;
use model::time::Instant;
use serde::Serialize;
use serde_json::Value;
use store::{Site, Source, Way};
use utoipa::ToSchema;
use weather::layout::Layout;

use crate::answer::{Answer, changed, created, ok, whole};
use crate::conditional::IfMatch;
use crate::desk::{Here, Visit};
use crate::problem::Problem;
use crate::query::Query;
use crate::request::Document;
use crate::shapes::{Moment, Page};
use crate::{Stirred, fields, limits, sites};

/// Where a site's temperatures come from.
#[derive(Serialize, ToSchema)]
pub(crate) struct SourceShown {
    id: String,
    site_id: String,
    name: String,
    /// How its readings come: `feed`, `file` or `hand`.
    way: &'static str,
    provider: Option<String>,
    /// The provider's cell or station that it is fetched for.
    cell: Option<String>,
    /// `station`, `model-analysis` or `hand`.
    reading_kind: &'static str,
    /// Whom to credit, in the words that the provider asks for.
    attribution: Option<&'static str>,
    /// Order of trust within the site; 1 is trusted most.
    trust: i64,
    /// How its files are read: the keys of `[weather]` in a season file,
    /// or `format` with the word of an open archive.
    #[schema(value_type = Option<Object>)]
    mapping: Option<Value>,
    #[schema(value_type = Moment)]
    created_at: Instant,
}

/// A source as it is added.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct SourceAdded {
    #[schema(nullable = false, pattern = "^[A-Za-z0-9_-]{1,64}$")]
    id: Option<String>,
    /// Unique within the site.
    #[schema(max_length = 200)]
    name: String,
    /// `feed`, `file` or `hand`.
    way: String,
    /// Of a feed.
    provider: Option<String>,
    /// `station`, `model-analysis` or `hand`.
    reading_kind: Option<String>,
    #[schema(minimum = 1, maximum = 1000)]
    trust: Option<i64>,
    /// Of a source that comes by file: the keys of `[weather]` in a season file,
    /// or `format` with the word of an open archive.
    #[schema(value_type = Option<Object>)]
    mapping: Option<Value>,
}

/// How a source's files are read from now on.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct SourceChange {
    #[schema(value_type = Object)]
    mapping: Value,
}

/// Lowest place in the order of trust that can be asked for.
const LEAST_TRUSTED: i64 = 1_000;
const KINDS: [&str; 3] = ["station", "model-analysis", "hand"];

/// The sources of a site, the most trusted first.
#[utoipa::path(get, path = "/sites/{id}/sources", tag = "sites", operation_id = "list-sources",
    params(("id" = String, Path)), responses((status = 200, body = Page<SourceShown>)))]
pub(crate) async fn list(Here(desk): Here, Path(site): Path<String>, query: Query) -> Answer {
    query.finish()?;
    let site = desk.site(&site).await?;
    let sources = desk.store.sources_of(&site.id).await?;
    whole(sources.iter().map(|source| desk.render_source(source)).collect())
}

/// Adds a source.
#[utoipa::path(post, path = "/sites/{id}/sources", tag = "sites", operation_id = "add-source",
    params(("id" = String, Path)), request_body = SourceAdded, responses((status = 201, body = SourceShown)))]
pub(crate) async fn add(
    Here(desk): Here,
    Path(site): Path<String>,
    query: Query,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let site = desk.site(&site).await?;
    desk.allow(Deed::SetUp, site.farm_id.as_deref())?;
    let others = desk.store.sources_of(&site.id).await?;
    if others.len() >= limits::SOURCES_PER_SITE {
        let most = limits::SOURCES_PER_SITE;
        return Err(Problem::conflict(format!(
            "The site has {most} sources already, the most that one may have."
        )));
    }
    let place = sites::place(&site)?;
    let last = others.iter().map(|source| source.trust).max().unwrap_or(0);
    let source = input::read(&document, |fields| desk.read_source(fields, &site, &place, last + 1))?;
    desk.store.add_source(&source).await?;
    if source.way == Way::Feed {
        (desk.app.poke)(Stirred::Feeds);
    }
    let location = format!("/api/v1/sites/{}/sources/{}", site.id, source.id);
    created(&location, desk.render_source(&source))
}

/// One source of a site.
#[utoipa::path(get, path = "/sites/{id}/sources/{source}", tag = "sites", operation_id = "read-source",
    params(("id" = String, Path), ("source" = String, Path)), responses((status = 200, body = SourceShown)))]
pub(crate) async fn one(
    Here(desk): Here,
    Path((site, source)): Path<(String, String)>,
    query: Query,
) -> Answer {
    query.finish()?;
    let site = desk.site(&site).await?;
    let source = desk.source_of(&site, &source).await?;
    ok(desk.render_source(&source))
}

/// Sets how the source's files are read from now on; what was stored stays.
#[utoipa::path(patch, path = "/sites/{id}/sources/{source}", tag = "sites", operation_id = "change-source",
    params(("id" = String, Path), ("source" = String, Path)), request_body = SourceChange,
    responses((status = 200, body = SourceShown)))]
pub(crate) async fn change(
    Here(desk): Here,
    Path((site, source)): Path<(String, String)>,
    query: Query,
    if_match: IfMatch,
    Document(document): Document,
) -> Answer {
    query.finish()?;
    let site = desk.site(&site).await?;
    desk.allow(Deed::SetUp, site.farm_id.as_deref())?;
    let mut source = desk.source_of(&site, &source).await?;
    if_match.check(&desk.render_source(&source))?;
    if source.way != Way::File {
        let way = source.way.word();
        return Err(Problem::conflict(format!(
            "The source comes by {way}: only one that comes by file has a mapping."
        )));
    }
    let mapping = input::read(&document, |fields| {
        if !fields.require("mapping") {
            return None;
        }
        mapping(fields, Some(source.kind))
    })?;
    let mapping = mapping.to_json();
    desk.store.set_mapping(&source, &mapping).await?;
    source.mapping = Some(mapping);
    changed(desk.render_source(&source))
}

/// Reads `mapping`. The kind of its readings is that of the source where it is
/// known, and must not say another.
fn mapping(fields: &Fields<'_>, kind: Option<Kind>) -> Option<Layout> {
    let table = fields.table("mapping")?;
    let says_kind = table.has("reading_kind");
    let read = Layout::from_fields(&table);
    table.refuse_unknown();
    let layout = read?;
    let Some(kind) = kind else { return Some(layout) };
    if says_kind && layout.reading_kind() != kind {
        let (says, is) = (layout.reading_kind().word(), kind.word());
        table.fault("reading_kind", format!("is {says}, but the readings of this source are {is}"));
    }
    Some(layout.of_kind(kind))
}

impl Visit {
    fn read_source(&self, fields: &Fields<'_>, site: &Site, place: &Place, next: i64) -> Option<Source> {
        let id = fields::given_id(fields);
        let name = fields::name(fields, "name");
        let trust = fields.whole("trust", 1, LEAST_TRUSTED).unwrap_or(next);
        let way = if fields.require("way") { fields.word("way", &["file", "feed", "hand"]) } else { None };
        let said = fields.word("reading_kind", &KINDS).and_then(Kind::named);
        fields.ignore(&["provider", "mapping"]);
        let way = Way::named(way?)?;
        if site.farm_id.is_none() && way != Way::Feed {
            fields.fault("way", "the site is the server's own, which takes feeds only; files and hand entry belong to a farm's site");
        }
        if way != Way::Feed && fields.has("provider") {
            fields.fault("provider", "belongs to a feed");
        }
        if way != Way::File && fields.has("mapping") {
            fields.fault("mapping", "belongs to a source that comes by file");
        }
        let (kind, provider, mapping) = match way {
            Way::Feed => {
                let provider = self.read_provider(fields)?;
                (provider.kind, Some(provider), None)
            }
            Way::Hand => (Kind::Hand, None, None),
            Way::File if fields.has("mapping") => {
                let mapping = mapping(fields, said)?;
                (mapping.reading_kind(), None, Some(mapping.to_json()))
            }
            Way::File => (said.unwrap_or(Kind::Station), None, None),
        };
        if let Some(said) = said.filter(|said| *said != kind) {
            let (says, is) = (said.word(), kind.word());
            fields.fault("reading_kind", format!("is {says}, but readings that come this way are {is}"));
        }
        Some(Source {
            id: id.unwrap_or_else(|| self.new_id()),
            site_id: site.id.clone(),
            name: name?,
            way,
            provider: provider.map(|provider| provider.name.to_owned()),
            cell: provider.map(|provider| (provider.cell)(place)),
            kind,
            trust,
            mapping,
            created_at: self.now(),
        })
    }

    fn read_provider(&self, fields: &Fields<'_>) -> Option<&crate::Provider> {
        let name = fields.required_text("provider")?;
        let provider = self.provider(&name);
        if provider.is_none() {
            let known: Vec<_> = self.app.providers.iter().map(|provider| provider.name).collect();
            fields.fault("provider", format!("`{name}` is not a provider here; known: {}", known.join(", ")));
        }
        provider
    }

    /// A source that must be one of the site's.
    pub(crate) async fn source_of(&self, site: &Site, id: &str) -> Result<Source, Problem> {
        let source = self.store.source(id).await?.filter(|source| source.site_id == site.id);
        source.ok_or_else(|| Problem::not_found(format!("Site `{}` has no source `{id}`.", site.id)))
    }

    pub(crate) fn render_source(&self, source: &Source) -> SourceShown {
        let Source { id, site_id, name, way, provider, cell, kind, trust, mapping, created_at } =
            source.clone();
        SourceShown {
            id,
            site_id,
            name,
            way: way.word(),
            provider,
            cell,
            reading_kind: kind.word(),
            attribution: self.attribution(source),
            trust,
            mapping,
            created_at,
        }
    }

    /// Whom to credit for a source's readings.
    pub(crate) fn attribution(&self, source: &Source) -> Option<&'static str> {
        self.provider(source.provider.as_deref()?).map(|provider| provider.attribution)
    }
}
