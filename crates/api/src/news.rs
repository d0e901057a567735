//! What happened since yesterday evening, block by block, in sentences.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveTime, TimeZone};
use chrono_tz::Tz;
use model::field_log::{Entry, Observed, Says};
use model::stats::Sample;
use model::time::{Instant, zone};
use serde::Serialize;
use store::{AlertStatus, Audit, AuditPart, LogEntry};
use utoipa::{IntoParams, ToSchema};

use crate::answer::{Answer, ok};
use crate::desk::{Here, Visit};
use crate::limits;
use crate::problem::Problem;
use crate::query::Query;
use crate::shapes::Moment;

/// The evening begins at this hour of the wall clock.
const EVENING: u32 = 18;

/// Since when, and where.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
#[allow(dead_code, reason = "it stands for parameters in the document")]
pub(crate) struct Since {
    /// By default yesterday at 18:00 on the wall clock of your first site.
    #[param(value_type = Option<Moment>)]
    since: Option<Instant>,
    /// Only on this farm.
    farm_id: Option<String>,
}

/// What happened since a time.
#[derive(Serialize, ToSchema)]
pub struct News {
    /// Since when.
    #[schema(value_type = Moment)]
    pub since: Instant,
    /// Whether there was more than is listed; the latest is.
    pub cut: bool,
    /// Block by block.
    pub items: Vec<BlockNews>,
}

/// What happened on a block, the latest first; without one on the farm.
#[derive(Serialize, ToSchema)]
pub struct BlockNews {
    /// The farm.
    pub farm_id: Option<String>,
    /// The block; none for what concerns a farm as a whole.
    pub block_id: Option<String>,
    /// What the block is called.
    pub name: Option<String>,
    /// The latest first.
    pub news: Vec<NewsLine>,
}

/// One thing that happened.
#[derive(Serialize, ToSchema)]
pub struct NewsLine {
    /// When.
    #[schema(value_type = Moment)]
    pub at: Instant,
    /// `alert`, or what was done: `logged`, `plan set`, `changed` and the like.
    pub what: String,
    /// The bloom year that it concerns.
    pub year: Option<i32>,
    /// What the person who did it is called; null for the program itself.
    pub by: Option<String>,
    /// The same in a sentence.
    pub text: String,
}

/// What happened since yesterday evening, or another time: alerts, and what people
/// logged and changed on the farms that you advise.
#[utoipa::path(get, path = "/news", tag = "changes", operation_id = "read-news", params(Since),
    responses((status = 200, body = News)))]
pub(crate) async fn news(Here(desk): Here, mut query: Query) -> Answer {
    let (since, farm) = (query.instant("since"), query.text("farm_id"));
    query.finish()?;
    if let Some(farm) = &farm {
        desk.farm(farm).await?;
    }
    ok(desk.news(since, farm.as_deref(), limits::LONGEST_PAGE).await?)
}

impl Visit {
    /// News of a farm, or of all that the caller sees; by default since yesterday evening.
    /// Of alerts and of deeds at most so many, the latest.
    pub(crate) async fn news(
        &self,
        since: Option<Instant>,
        farm: Option<&str>,
        most: u32,
    ) -> Result<News, Problem> {
        let since = match since {
            Some(since) => since,
            None => self.yesterday_evening().await?,
        };
        let deeds = self.store.audit(farm, AuditPart::Since(since), most).await?;
        let alerts = self.store.alerts_since(since, farm, most).await?;
        let cut = deeds.len().max(alerts.len()) == most as usize;
        let mut told = Told { desk: self, by_block: BTreeMap::new(), logs: HashMap::new() };
        for alert in alerts.iter().filter(|alert| alert.status == AlertStatus::Told) {
            told.add(
                None,
                Some(&alert.block_id),
                NewsLine {
                    at: alert.raised_at,
                    what: "alert".to_owned(),
                    year: Some(alert.year),
                    by: None,
                    text: format!("Alert: {}.", alert.kind.replace('-', " ")),
                },
            );
        }
        for deed in &deeds {
            let reviewed = deed.farm_id.as_deref().is_some_and(|farm| self.caller.may_review(farm));
            if reviewed {
                told.deed(deed).await?;
            }
        }
        Ok(News { since, cut, items: told.items().await? })
    }

    async fn yesterday_evening(&self) -> Result<Instant, Problem> {
        let sites = self.store.sites(None, None, 1).await?;
        let zone = sites.first().and_then(|site| zone(&site.time_zone).ok()).unwrap_or(Tz::UTC);
        let now = self.now();
        let yesterday = now.local_date(zone).checked_sub_days(Days::new(1));
        let evening = NaiveTime::from_hms_opt(EVENING, 0, 0);
        let wall = yesterday.zip(evening).map(|(day, evening)| day.and_time(evening));
        let at = wall.and_then(|wall| zone.from_local_datetime(&wall).earliest());
        Ok(at.map_or(now.plus(-model::time::DAY), |at| Instant(at.timestamp())))
    }
}

/// News as they are put together.
struct Told<'a> {
    desk: &'a Visit,
    by_block: BTreeMap<(Option<String>, Option<String>), Vec<NewsLine>>,
    /// Logs looked up so far, by block and year.
    logs: HashMap<(String, i32), Vec<LogEntry>>,
}

impl Told<'_> {
    fn add(&mut self, farm: Option<&str>, block: Option<&str>, line: NewsLine) {
        // A block stands for its farm.
        let farm = farm.filter(|_| block.is_none());
        self.by_block.entry((farm.map(str::to_owned), block.map(str::to_owned))).or_default().push(line);
    }

    async fn deed(&mut self, deed: &Audit) -> Result<(), Problem> {
        let block = matches!(deed.kind.as_str(), "season" | "block").then_some(deed.subject.as_str());
        let line = |text: String| NewsLine {
            at: deed.at,
            what: deed.deed.clone(),
            year: deed.year,
            by: deed.person.clone(),
            text,
        };
        let ids = deed.detail.as_ref().and_then(|detail| detail["entries"].as_array());
        if let ("logged", Some(ids), Some(year), Some(block)) = (deed.deed.as_str(), ids, deed.year, block) {
            let key = (block.to_owned(), year);
            if !self.logs.contains_key(&key) {
                let log = self.desk.store.log(block, year).await?;
                self.logs.insert(key.clone(), log);
            }
            let log = &self.logs[&key];
            let entries =
                ids.iter().filter_map(|id| log.iter().find(|entry| Some(entry.id.as_str()) == id.as_str()));
            let texts: Vec<String> = entries.map(brief).collect();
            for text in texts {
                self.add(None, Some(block), line(text));
            }
            return Ok(());
        }
        let text = match deed.deed.as_str() {
            "plan set" => "The plan was set.".to_owned(),
            // An id that the server made tells no reader anything.
            other if uuid::Uuid::parse_str(&deed.subject).is_ok() => {
                format!("{}: {}.", capital(other), deed.kind)
            }
            other => format!("{}: {} {}.", capital(other), deed.kind, deed.subject),
        };
        self.add(deed.farm_id.as_deref(), block, line(text));
        Ok(())
    }

    async fn items(self) -> Result<Vec<BlockNews>, Problem> {
        let mut items = Vec::with_capacity(self.by_block.len());
        for ((farm_id, block_id), mut news) in self.by_block {
            let block = match &block_id {
                Some(id) => self.desk.store.block(id).await?,
                None => None,
            };
            news.sort_by_key(|line| std::cmp::Reverse(line.at));
            let farm_id = farm_id.or(block.as_ref().map(|block| block.farm_id.clone()));
            items.push(BlockNews { farm_id, block_id, name: block.map(|block| block.name), news });
        }
        items.sort_by_key(|item| std::cmp::Reverse(item.news.first().map(|line| line.at)));
        Ok(items)
    }
}

/// An entry in a sentence.
pub fn brief(row: &LogEntry) -> String {
    let Ok(entry) = Entry::read(&row.doc, Some(&row.id)) else {
        return format!("An entry: {}.", row.kind);
    };
    match &entry.says {
        Says::Observed(Observed::Recorded(kind)) => {
            let said = ["text", "note"].iter().find_map(|field| row.doc[*field].as_str());
            said.map_or_else(
                || format!("{}.", capital(kind)),
                |said| format!("{}: {}.", capital(kind), said.trim_end_matches('.')),
            )
        }
        Says::Observed(observed) => observed_in_words(observed),
        Says::Correction { of, entry, .. } => format!("Corrected {of}: {}", observed_in_words(entry)),
        Says::Withdrawal { of } => format!("Withdrew {of}."),
    }
}

fn observed_in_words(observed: &Observed) -> String {
    let mean = |what: &str, counts: &[i64]| match Sample::of_counts(counts) {
        Some(Sample { n, mean, .. }) => format!("{what}: {mean:.0} a tree on {n} trees."),
        None => format!("{what}."),
    };
    match observed {
        Observed::OpenCount(open) => mean("Open flowers", &open.open_per_tree),
        Observed::BudCount(buds) => mean("Flower buds", &buds.buds_per_tree),
        Observed::SetCount(set) => mean("Fruit", &set.fruit_per_tree),
        Observed::DamageCount(tally) => {
            format!("Damage: {} of {} kings alive.", tally.kings_alive, tally.clusters_examined)
        }
        Observed::Decision(decision) => {
            let what = if decision.thin { "to thin" } else { "not to thin" };
            let reason = decision.reason.as_ref().map_or_else(String::new, |reason| format!(" ({reason})"));
            format!("Decided {what}{reason}.")
        }
        Observed::Spray(spray) => {
            let draft = if spray.finished_at.is_none() { " (a draft: no finish yet)" } else { "" };
            format!("Sprayed {}{draft}.", spray.material)
        }
        other => format!("{}.", capital(other.kind())),
    }
}

/// A kind of entry as the begin of a sentence.
fn capital(kind: &str) -> String {
    let kind = kind.replace('-', " ");
    let mut letters = kind.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", letters.as_str())
}
