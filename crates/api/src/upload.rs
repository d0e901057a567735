//! A station's file as it is uploaded: parsed while it comes, off the async
//! threads, and stored as a whole or not at all.

use std::io::{self, Read};

use access::Deed;
use axum::body::Bytes;
use axum::extract::{FromRequest, Path, Request};
use chrono_tz::Tz;
use model::input;
use model::series::{Forecast, Kind, Reading};
use model::time::{FUTURE_TOLERANCE, Instant, zone};
use serde_json::{Value, json};
use store::{Site, Source, Way};
use tokio::sync::mpsc;
use utoipa::{IntoParams, ToSchema};
use weather::layout::{self, Layout};
use weather::mapping::Role;
use weather::station_file::{FileFault, Limit, StationFile};

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::{Problem, Wrong};
use crate::query::Query;
use crate::readings;
use crate::request::{Document, Incoming, content_type, is_json};
use crate::shapes::Moment;

/// Readings as a person or a program wrote them.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct Typed {
    /// Id of the source; or as the parameter of the same name.
    #[schema(nullable = false)]
    source: Option<String>,
    #[schema(min_items = 1, max_items = 10000)]
    readings: Vec<TypedReading>,
}

/// One of them: `celsius`, or `value` with its `unit`.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct TypedReading {
    #[schema(value_type = Moment)]
    at: Instant,
    #[schema(nullable = false, minimum = -60, maximum = 60)]
    celsius: Option<f64>,
    #[schema(nullable = false)]
    value: Option<f64>,
    /// `celsius`, `fahrenheit` or `kelvin`.
    #[schema(nullable = false)]
    unit: Option<String>,
    /// Minutes that a mean covers, up to `at`.
    #[schema(nullable = false, minimum = 1)]
    minutes: Option<i64>,
}

/// What came of an upload.
#[derive(ToSchema)]
#[allow(dead_code, reason = "it stands for the body in the document")]
pub(crate) struct UploadShown {
    source: String,
    /// Readings at a time for which the source had none.
    stored: u64,
    unchanged: u64,
    /// Readings that took the place of another at the same time.
    corrected: u64,
    refused: u64,
    missing: u64,
    /// Each with its line number (header = 1) and the reason.
    #[schema(value_type = Vec<Object>)]
    refused_rows: Value,
}

/// Where readings of a file come from, and whether they are kept.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct FromSource {
    /// Id of the source; needed for a file.
    source: Option<String>,
    /// Says how the file was understood, and keeps nothing of it.
    dry_run: Option<bool>,
}

/// What a person has said of a file's layout, on a page that showed what was told from
/// it: it stands beside the request, and holds before what the file says.
#[derive(Debug, Clone)]
pub(crate) struct ByHand(pub(crate) Value);

/// Types of a station's file; it may be packed with gzip.
const FILES: [&str; 3] = ["text/csv", "text/plain", "application/gzip"];

/// Takes readings: a station's file, or JSON that a person or a program wrote. How a
/// file is read stands in the source's mapping; where there is none yet it is told
/// from the file, and remembered when nothing of it was a guess.
#[utoipa::path(post, path = "/sites/{id}/readings", tag = "sites", operation_id = "store-readings",
    params(("id" = String, Path), FromSource),
    request_body(content((Typed = "application/json"), (String = "text/csv"))),
    responses((status = 200, body = UploadShown)))]
pub(crate) async fn take(
    Here(desk): Here,
    Path(site): Path<String>,
    mut query: Query,
    request: Request,
) -> Answer {
    let source = query.text("source");
    let dry_run = query.word("dry_run", &["true", "false"]) == Some("true");
    query.finish()?;
    let site = desk.site(&site).await?;
    let found = content_type(request.headers());
    let file = found.as_deref().is_some_and(|found| FILES.contains(&found));
    if !file && !found.as_deref().is_some_and(is_json) {
        return Err(Problem::other_type(
            "text/csv (text/plain and application/gzip are taken too) or application/json",
            found.as_deref(),
        ));
    }
    if site.farm_id.is_none() {
        return Err(Problem::conflict(
            "The site is the server's own, which takes feeds only and no uploads.",
        ));
    }
    desk.allow(Deed::Log, site.farm_id.as_deref())?;
    if file {
        return station_file(&desk, &site, source, dry_run, request).await;
    }
    if dry_run {
        return Err(Problem::parameter(
            "dry_run",
            "is of a file; readings in JSON say themselves what they are",
        ));
    }
    let Document(document) = Document::from_request(request, &()).await?;
    readings::typed_in(&desk, &site, source, &document).await
}

async fn station_file(
    desk: &Visit,
    site: &Site,
    source: Option<String>,
    dry_run: bool,
    request: Request,
) -> Answer {
    let Some(id) = source else {
        return Err(Problem::parameter(
            "source",
            "is missing; give the id of the source that the file comes from",
        ));
    };
    let source = match desk.store.source(&id).await? {
        Some(found) if found.site_id == site.id => found,
        _ => return Err(readings::no_source(site, &id, true)),
    };
    let by_hand = request.extensions().get::<ByHand>().map(|given| given.0.clone());
    // What is said of this file holds before what was remembered of those before it.
    let layout = if by_hand.is_some() { layout_of(&source).map(|_| None)? } else { layout_of(&source)? };
    if layout.is_none() && !dry_run {
        // What is told from the file becomes the source's mapping.
        desk.allow(Deed::SetUp, site.farm_id.as_deref())?;
    }
    let now = desk.now();
    if let Some(Role::Forecast { issued_at }) = layout.as_ref().map(Layout::role)
        && issued_at > now.plus(FUTURE_TOLERANCE)
    {
        let detail = format!("{issued_at} lies more than 10 minutes ahead of now, {now}");
        return Err(Problem::file("/mapping/issued_at", detail));
    }
    let incoming = Incoming::new(request, limits::UPLOAD_BYTES)?;
    let place = desk.uploads.acquire().await.expect("the places for uploads are never closed");
    let how = How {
        known: layout,
        by_hand: by_hand.unwrap_or_else(|| json!({})),
        kind: source.kind,
        zone: zone(&site.time_zone).ok(),
        dry_run,
    };
    let answer = match parsed(incoming, how, now).await? {
        Parsed::Unclear(report) => {
            ok(json!({"source": source.id, "dry_run": true, "file": report, "would_be": null}))
        }
        Parsed::Report { report, readings } => {
            let would_be = would_be(desk, site, &source, &readings).await?;
            ok(json!({"source": source.id, "dry_run": true, "file": report, "would_be": would_be}))
        }
        Parsed::File { layout, read, remembered } => {
            let answer = store(desk, &source, layout.role(), read, now).await?;
            if remembered {
                desk.store.set_mapping(&source, &layout.to_json()).await?;
            }
            Ok(answer)
        }
    };
    drop(place);
    answer
}

/// How the source's files are read, where that is known.
fn layout_of(source: &Source) -> Result<Option<Layout>, Problem> {
    if source.way != Way::File {
        let way = source.way.word();
        return Err(Problem::conflict(format!("The source comes by {way} and takes no files.")));
    }
    let Some(mapping) = &source.mapping else { return Ok(None) };
    input::read(mapping, Layout::from_fields).map(Some).map_err(|faults| {
        tracing::error!(source = source.id, %faults, "a stored mapping does not read back");
        Problem::failed()
    })
}

/// How a file is to be read.
struct How {
    /// The source's layout; none when it is to be told from the file.
    known: Option<Layout>,
    /// What a person has said of it.
    by_hand: Value,
    kind: Kind,
    zone: Option<Tz>,
    dry_run: bool,
}

/// What came of a file.
enum Parsed {
    /// It is not told how it is read.
    Unclear(Value),
    /// What was understood, of which nothing is kept.
    Report {
        report: Value,
        /// None for a forecast, whose hours take the place of no readings.
        readings: Option<Vec<Reading>>,
    },
    File {
        layout: Layout,
        read: StationFile,
        /// Whether the layout was told from the file.
        remembered: bool,
    },
}

impl How {
    /// Reads a file.
    fn read(self, mut file: impl Read, now: Instant) -> Result<Parsed, Problem> {
        let mut head = Vec::new();
        (&mut file)
            .take(layout::HEAD_BYTES as u64)
            .read_to_end(&mut head)
            .map_err(|error| refused(&FileFault::Unreadable(error)))?;
        let remembered = self.known.is_none();
        let (layout, told, doubts) = match self.known {
            Some(known) => (known, Vec::new(), Vec::new()),
            None => match layout::recognise(&head, None, &self.by_hand, self.zone) {
                Ok(recognised) => (recognised.layout.of_kind(self.kind), recognised.told, recognised.doubts),
                Err(unclear) if self.dry_run => {
                    let unclear = json!({"told": unclear.told, "doubts": unclear.doubts, "mapping": unclear.table,
                        "to_give": unclear.faults.0, "understood": null});
                    return Ok(Parsed::Unclear(unclear));
                }
                Err(unclear) => {
                    let faults = unclear.faults.0.iter();
                    return Err(not_told(
                        faults.map(|fault| (fault.pointer.as_str(), fault.detail.as_str())),
                    ));
                }
            },
        };
        let file = io::Cursor::new(head).chain(file);
        if self.dry_run {
            let (read, understood) =
                layout::understand(file, &layout, now).map_err(|fault| refused(&fault))?;
            let report = json!({"told": told, "doubts": doubts, "mapping": layout.to_json(), "to_give": [],
                "understood": understood});
            let readings = (layout.role() == Role::Observed).then_some(read.readings);
            return Ok(Parsed::Report { report, readings });
        }
        if !doubts.is_empty() {
            let keys: Vec<String> = doubts.iter().map(|doubt| format!("/{}", doubt.key)).collect();
            let doubts = keys.iter().zip(&doubts).map(|(key, doubt)| (key.as_str(), doubt.detail.as_str()));
            return Err(not_told(doubts));
        }
        let read = layout::read(file, &layout, now).map_err(|fault| refused(&fault))?;
        Ok(Parsed::File { layout, read, remembered })
    }
}

/// A file whose layout is not told for certain.
fn not_told<'a>(things: impl Iterator<Item = (&'a str, &'a str)>) -> Problem {
    let wrong = |(pointer, detail): (&str, &str)| Wrong {
        pointer: Some(format!("/mapping{pointer}")),
        parameter: None,
        detail: detail.to_owned(),
    };
    let problem = Problem::file(
        "/mapping",
        "How the file is to be read does not follow from it for certain, and nothing of it was stored. Send it \
         with dry_run=true to see what was understood, and set the source's mapping.",
    );
    Problem { errors: things.map(wrong).collect(), ..problem }
}

/// Parses a file while it comes in. The parser runs on a thread of its own and
/// gets the chunks through a short queue.
async fn parsed(mut incoming: Incoming, how: How, now: Instant) -> Result<Parsed, Problem> {
    let (chunks, queue) = mpsc::channel::<Result<Bytes, ()>>(limits::CHUNKS_WAITING);
    let parser = tokio::task::spawn_blocking(move || how.read(Chunks::new(queue), now));
    let came = hand_over(&mut incoming, &chunks).await;
    if came.is_err() {
        // The parser must not take what came so far for the whole file. When
        // it has given up already there is nobody to tell.
        let _ = chunks.send(Err(())).await;
    }
    drop(chunks);
    let read = parser.await.map_err(|error| {
        tracing::error!(%error, "reading a station's file panicked");
        Problem::failed()
    })?;
    came?;
    match read {
        Ok(read) => Ok(read),
        Err(problem) => {
            incoming.discard().await;
            Err(problem)
        }
    }
}

/// Hands the body on until it ends or the parser has given up on it.
async fn hand_over(incoming: &mut Incoming, chunks: &mpsc::Sender<Result<Bytes, ()>>) -> Result<(), Problem> {
    while let Some(chunk) = incoming.next().await? {
        if chunks.send(Ok(chunk)).await.is_err() {
            break;
        }
    }
    Ok(())
}

/// The queue as the parser reads it.
struct Chunks {
    queue: mpsc::Receiver<Result<Bytes, ()>>,
    present: Bytes,
}

impl Chunks {
    fn new(queue: mpsc::Receiver<Result<Bytes, ()>>) -> Chunks {
        Chunks { queue, present: Bytes::new() }
    }
}

impl Read for Chunks {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.present.is_empty() {
            match self.queue.blocking_recv() {
                None => return Ok(0),
                Some(Ok(chunk)) => self.present = chunk,
                Some(Err(())) => {
                    return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the upload broke off"));
                }
            }
        }
        let length = self.present.len().min(into.len());
        into[..length].copy_from_slice(&self.present.split_to(length));
        Ok(length)
    }
}

fn refused(fault: &FileFault) -> Problem {
    match fault {
        FileFault::Unreadable(_) => Problem::broken_off(fault.to_string()),
        FileFault::TooLarge { limit: Limit::Bytes, .. } => Problem::too_large(limits::UPLOAD_BYTES),
        _ => {
            let pointer = fault.field().map_or_else(String::new, |field| format!("/mapping/{field}"));
            Problem::file(pointer, fault.to_string())
        }
    }
}

/// What storing readings would come to, as [`store`] counts it; null for a forecast.
async fn would_be(
    desk: &Visit,
    site: &Site,
    source: &Source,
    readings: &Option<Vec<Reading>>,
) -> Result<Value, Problem> {
    let Some(readings) = readings else { return Ok(Value::Null) };
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Ok(json!({"stored": 0, "unchanged": 0, "corrected": 0}));
    };
    let of_site = desk.store.readings(&site.id, first.at, last.at).await?;
    let held = of_site.into_iter().find(|(one, _)| one.id == source.id).map(|(_, held)| held);
    let held = held.unwrap_or_default();
    let (mut stored, mut unchanged, mut corrected) = (0_u64, 0_u64, 0_u64);
    for reading in readings {
        match held.binary_search_by_key(&reading.at, |held| held.at).map(|place| &held[place]) {
            Err(_) => stored += 1,
            Ok(held) if held.says_the_same(reading) => unchanged += 1,
            Ok(_) => corrected += 1,
        }
    }
    Ok(json!({"stored": stored, "unchanged": unchanged, "corrected": corrected}))
}

async fn store(desk: &Visit, source: &Source, role: Role, read: StationFile, now: Instant) -> Answer {
    let store = &desk.store;
    let (stored, forecast) = match role {
        Role::Observed => {
            let stored = store.store_readings(&source.id, &read.readings, now).await?;
            desk.poke_if_changed(stored);
            (stored, Value::Null)
        }
        Role::Forecast { issued_at } => {
            let hours = read.readings.len();
            let forecast = Forecast { issued_at, hours: read.readings.clone() };
            let stored = store.store_fetch(&source.id, &[], Some(&forecast), now).await?;
            desk.poke();
            (stored, json!({"issued_at": issued_at, "hours": hours}))
        }
    };
    let refused: Vec<Value> =
        read.refused.iter().map(|row| json!({"line": row.line, "reason": row.reason})).collect();
    ok(json!({
        "source": source.id,
        "rows": read.rows.seen,
        "stored": stored.stored,
        "unchanged": stored.unchanged,
        "corrected": stored.corrected,
        "refused": read.rows.refused,
        "missing": read.rows.missing,
        "filtered": read.rows.filtered,
        "superseded": read.rows.superseded,
        "first": read.first,
        "last": read.last,
        "forecast": forecast,
        "refused_rows": refused,
    }))
}
