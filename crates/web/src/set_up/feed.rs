//! Whether weather comes to a site: when each source was asked, what came, what failed.
//! Pages ask no one on the network; a button makes the loop that does look at once.

use access::Deed;
use api::Stirred;
use askama::Template;
use axum::extract::{Form as Body, Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use chrono_tz::Tz;
use model::time::{HOUR, Instant, MINUTE, zone};
use serde_json::Value;
use store::{Site, Way};

use super::source;
use crate::fields::{Form, Group, Sent, theirs};
use crate::visit::{Shown, Signed, Stop, on_to};
use crate::words::Words;
use crate::{Web, pages, said};

/// A feed is asked for whoever waits at most once in so long.
const ASKED_EVERY: i64 = MINUTE;

#[derive(Template)]
#[template(path = "feed_test.html")]
struct Page {
    words: &'static Words,
    title: String,
    back: (String, String),
    site_id: String,
    done: Option<String>,
    wrong: Option<String>,
    sources: Vec<SourceShown>,
    /// Whether a feed is among them, to be asked now.
    can_ask: bool,
    takes_files: bool,
    /// Another source; none for who may not add one.
    form: Option<Form>,
}

struct SourceShown {
    name: String,
    /// How it stands, in a word or two.
    stands: String,
    well: bool,
    rows: Vec<(String, String)>,
}

async fn shown(
    signed: &Signed,
    site: &Site,
    done: Option<String>,
    wrong: Option<String>,
) -> Result<Page, Stop> {
    let words = signed.words();
    let zone = zone(&site.time_zone).map_err(|error| Stop::Failed(error.to_string()))?;
    let standing = signed.0.read(&["sites", &site.id, "standing"], &[]).await?;
    let all = standing["items"].as_array().cloned().unwrap_or_default();
    let ways: Vec<Option<Way>> = all.iter().map(|one| one["way"].as_str().and_then(Way::named)).collect();
    let caller = signed.0.caller();
    let sets_up = match &site.farm_id {
        Some(farm) => caller.may(Deed::SetUp, farm),
        None => caller.may_operate(),
    };
    let form = sets_up.then(|| {
        let fields = vec![source::field(&signed.0, words)];
        Form::new(words, words.get("feed.add"), vec![Group::of(fields)])
            .to(format!("/sites/{}/sources", site.id))
    });
    let farm = site.farm_id.as_ref().map(|farm| format!("?farm={farm}")).unwrap_or_default();
    Ok(Page {
        words,
        title: words.fill("feed.title", &[("site", &site.name)]),
        back: (format!("/begin{farm}"), words.get("settings.to_steps").to_owned()),
        site_id: site.id.clone(),
        done,
        wrong,
        sources: all.iter().map(|one| of_source(one, words, zone, signed.0.now())).collect(),
        can_ask: ways.contains(&Some(Way::Feed)) && may_ask(signed, site),
        takes_files: site.farm_id.is_some() && ways.contains(&Some(Way::File)),
        form,
    })
}

fn may_ask(signed: &Signed, site: &Site) -> bool {
    match &site.farm_id {
        Some(farm) => signed.0.caller().may(Deed::Log, farm),
        None => signed.0.caller().may_operate(),
    }
}

fn of_source(one: &Value, words: &Words, zone: Tz, now: Instant) -> SourceShown {
    let at = |value: &Value| value.as_str().and_then(|text| Instant::parse(text).ok());
    let dated = |value: &Value| at(value).map(|at| said::dated(at, zone));
    let never = || words.get("feed.never").to_owned();
    let feed = &one["feed"];
    let last = at(&one["last_reading_at"]);
    let mut rows = vec![(
        words.get("feed.last_reading").to_owned(),
        dated(&one["last_reading_at"]).unwrap_or_else(never),
    )];
    if let Some(at) = last {
        rows.push((words.get("feed.how_old").to_owned(), old(words, now.since(at))));
    }
    if let Some(received) = dated(&one["received_at"]) {
        rows.push((words.get("feed.received").to_owned(), received));
    }
    let fault = feed["last_error"].as_str();
    if feed.is_object() {
        rows.push((words.get("feed.asked").to_owned(), dated(&feed["last_fetch_at"]).unwrap_or_else(never)));
        rows.extend(fault.map(|fault| (words.get("feed.fault").to_owned(), fault.to_owned())));
        let next = at(&feed["next_fetch_at"]);
        let soon = next.is_none_or(|next| next <= now);
        let next =
            if soon { Some(words.get("feed.at_once").to_owned()) } else { dated(&feed["next_fetch_at"]) };
        rows.extend(next.map(|next| (words.get("feed.next").to_owned(), next)));
        let alone = dated(&feed["left_alone_until"]);
        rows.extend(alone.map(|until| (words.get("feed.left_alone").to_owned(), until)));
        rows.extend(
            feed["attribution"].as_str().map(|who| (words.get("feed.credit").to_owned(), who.to_owned())),
        );
    }
    let fresh = last.is_some_and(|last| now.since(last) <= 3 * HOUR);
    let asked = at(&feed["last_fetch_at"]).is_some();
    let stands = match (fault, last) {
        (Some(_), _) => words.get("feed.failed"),
        (None, Some(_)) if fresh => words.get("feed.fresh"),
        (None, Some(_)) => words.get("feed.old"),
        (None, None) if asked => words.get("feed.no_reading"),
        (None, None) => words.get("feed.nothing_yet"),
    };
    SourceShown {
        name: one["name"].as_str().unwrap_or_default().to_owned(),
        stands: stands.to_owned(),
        well: fault.is_none() && last.is_some(),
        rows,
    }
}

/// How long ago: minutes up to two hours, then whole hours.
fn old(words: &Words, seconds: i64) -> String {
    let seconds = seconds.max(0);
    match seconds < 2 * HOUR {
        true => words.fill("feed.minutes", &[("n", &(seconds / MINUTE))]),
        false => words.fill("feed.hours", &[("n", &(seconds / HOUR))]),
    }
}

/// How the site's sources stand.
pub(crate) async fn page(signed: Signed, Path(id): Path<String>, Query(asked): Query<Sent>) -> Shown {
    let (site, _) = signed.site(&id).await?;
    let done = asked.has("asked").then(|| signed.words().get("feed.is_asked").to_owned());
    Ok(pages::page(StatusCode::OK, &shown(&signed, &site, done, None).await?))
}

/// Has the site's feeds asked now.
pub(crate) async fn ask(State(web): State<Web>, signed: Signed, Path(id): Path<String>) -> Shown {
    let (site, _) = signed.site(&id).await?;
    if !may_ask(&signed, &site) {
        return Err(Stop::NotAllowed(signed.words().get("feed.not_theirs").to_owned()));
    }
    let now = signed.0.now();
    for source in signed.0.store().sources_of(&site.id).await? {
        let (Some(provider), Some(cell)) = (&source.provider, &source.cell) else { continue };
        // A cell is many farms': the count is of them all.
        let (number, _) =
            web.store.count_attempt(&format!("feed {provider} {cell}"), now, ASKED_EVERY).await?;
        if number > 1 {
            let wrong = signed.words().get("feed.asked_just_now").to_owned();
            let page = shown(&signed, &site, None, Some(wrong)).await?;
            return Ok(pages::page(StatusCode::TOO_MANY_REQUESTS, &page));
        }
        web.store.ask_soon(provider, cell, now).await?;
    }
    signed.0.stir(Stirred::Feeds);
    on_to(&format!("/sites/{}/feed-test?asked=1", site.id))
}

/// Adds a source to a site that is there.
pub(crate) async fn add(signed: Signed, Path(id): Path<String>, Body(sent): Body<Sent>) -> Shown {
    let (site, _) = signed.site(&id).await?;
    match &site.farm_id {
        Some(farm) => signed.sets_up(farm)?,
        None => signed.operates()?,
    }
    match source::add(&signed.0, signed.words(), &site.id, &sent).await {
        Ok(next) => on_to(&next),
        Err(undone) => Ok(refused(&signed, &site, &sent, theirs(undone)?).await?),
    }
}

async fn refused(signed: &Signed, site: &Site, sent: &Sent, undone: api::Undone) -> Result<Response, Stop> {
    let mut page = shown(signed, site, None, None).await?;
    page.form = page.form.map(|form| {
        let mut form = form.filled(sent);
        let said = undone.errors.iter().map(|amiss| amiss.detail.as_str()).next().unwrap_or(&undone.detail);
        form.fault("/source", said);
        form
    });
    Ok(pages::page(StatusCode::UNPROCESSABLE_ENTITY, &page))
}
