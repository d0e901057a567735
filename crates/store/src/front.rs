//! The one way into the store, with a method for each use case.

use std::pin::Pin;
use std::sync::Arc;

use model::air::Air;
use model::series::{Forecast, Reading};
use model::time::Instant;
use model::units::Units;
use serde_json::Value;
use tokio::sync::mpsc;

use crate::rows::*;
use crate::writes::Writes;
use crate::{Result, Seal, TableSum, postgres, seal, sqlite};

/// The database: SQLite by default, Postgres by URL. Cloning it is cheap and
/// gives another handle on the same connections.
#[derive(Debug, Clone)]
pub struct Store {
    inner: Inner,
}

#[derive(Debug, Clone)]
enum Inner {
    Sqlite(sqlite::Pools),
    Postgres(postgres::Pools),
}

/// Parts of a copy that were read and not yet written.
const PARTS_WAITING: usize = 4;

/// A method at work. The box keeps the two databases' types out of the callers,
/// which would otherwise be slow to compile.
type Work<'a, T> = Pin<Box<dyn Future<Output = Result<T>> + Send + 'a>>;

fn is_postgres(url: &str) -> bool {
    url.starts_with("postgres://") || url.starts_with("postgresql://")
}

impl Store {
    /// Opens a database. `postgres://…` and `postgresql://…` are Postgres;
    /// everything else is the path of an SQLite file, with or without
    /// `sqlite://` before it, which is made when it is not there and brought
    /// up to date.
    ///
    /// # Errors
    /// When a setting that keeps data safe is off, when the database is newer
    /// than the program, and, on Postgres, when it is behind.
    pub async fn open(url: &str) -> Result<Store> {
        let work: Work<'_, Inner> = if is_postgres(url) {
            Box::pin(async {
                let pools = postgres::Pools::connect(url).await?;
                postgres::schema::require_current(&pools).await?;
                pools.require_walls().await?;
                Ok(Inner::Postgres(pools))
            })
        } else {
            Box::pin(async {
                let pools = sqlite::Pools::connect(url).await?;
                sqlite::schema::bring_up_to_date(&pools).await?;
                pools.fortify().await?;
                Ok(Inner::Sqlite(pools))
            })
        };
        Ok(Store { inner: work.await? })
    }

    /// Brings a database up to date without opening it for use; gives its
    /// schema version before and after.
    ///
    /// # Errors
    /// As [`Store::open`], and when a migration fails.
    pub async fn migrate(url: &str) -> Result<(i64, i64)> {
        let work: Work<'_, (i64, i64)> = if is_postgres(url) {
            Box::pin(async {
                let pools = postgres::Pools::connect(url).await?;
                let versions = postgres::schema::bring_up_to_date(&pools).await;
                let fortified = pools.fortify().await;
                pools.close().await;
                fortified.and(versions)
            })
        } else {
            Box::pin(async {
                let pools = sqlite::Pools::connect(url).await?;
                let versions = sqlite::schema::bring_up_to_date(&pools).await;
                let fortified = pools.fortify().await;
                pools.close().await;
                versions.and_then(|versions| fortified.map(|()| versions))
            })
        };
        work.await
    }
}

impl Store {
    /// The schema version at which a database is, without bringing it up to date;
    /// none when there is no such file, 0 when nothing is in it yet.
    ///
    /// # Errors
    /// When it cannot be reached or read.
    pub async fn version_of(url: &str) -> Result<Option<i64>> {
        let work: Work<'_, Option<i64>> = if is_postgres(url) {
            Box::pin(async {
                let pools = postgres::Pools::connect(url).await?;
                let version = postgres::schema::schema_version(&pools).await;
                pools.close().await;
                version.map(Some)
            })
        } else {
            Box::pin(sqlite::Pools::version_of(url))
        };
        work.await
    }

    /// Opens an SQLite file at rest to look at it, at whichever schema version;
    /// nothing is written to it or beside it, and every write fails.
    ///
    /// # Errors
    /// When the file does not read.
    pub async fn look_at(path: &str) -> Result<Store> {
        let work: Work<'_, sqlite::Pools> = Box::pin(sqlite::Pools::look_at(path));
        Ok(Store { inner: Inner::Sqlite(work.await?) })
    }

    /// Writes one state of an SQLite database into a file that is empty or not
    /// there yet, at the schema version at which it is. `at_rest` says that nobody
    /// serves it: then nothing is written beside it either.
    ///
    /// # Errors
    /// When the database cannot be read or the file not be written.
    pub async fn snapshot(path: &str, into: &str, at_rest: bool) -> Result<()> {
        let work: Work<'_, ()> = Box::pin(sqlite::Pools::snapshot(path, into, at_rest));
        work.await
    }

    /// Copies all rows of one moment into another database, which has none yet,
    /// reads them back, and gives what there is. `told` hears how many rows went
    /// over so far.
    ///
    /// # Errors
    /// When the other has rows already, or reads back otherwise; then nothing of
    /// it was kept.
    pub async fn copy_to(&self, other: &Store, told: &(dyn Fn(u64) + Send + Sync)) -> Result<Vec<TableSum>> {
        let (to, from) = mpsc::channel(PARTS_WAITING);
        let give: Work<'_, ()> = match &self.inner {
            Inner::Sqlite(pools) => Box::pin(sqlite::copying::give(pools, to)),
            Inner::Postgres(pools) => Box::pin(postgres::copying::give(pools, to)),
        };
        let take: Work<'_, Vec<TableSum>> = match &other.inner {
            Inner::Sqlite(pools) => Box::pin(sqlite::copying::take(pools, from, told)),
            Inner::Postgres(pools) => Box::pin(postgres::copying::take(pools, from, told)),
        };
        let ((), taken) = tokio::try_join!(give, take)?;
        other.writes().note_people();
        Ok(taken)
    }

    /// The same database asked on someone's behalf: they see their own farms,
    /// and what they change is noted.
    pub fn on_behalf(&self, behalf: Behalf) -> Store {
        let behalf = Arc::new(behalf);
        let inner = match &self.inner {
            Inner::Sqlite(pools) => Inner::Sqlite(pools.on_behalf(behalf)),
            Inner::Postgres(pools) => Inner::Postgres(pools.on_behalf(behalf)),
        };
        Store { inner }
    }

    /// A number that rises with each write of this process, before it begins and
    /// after it has ended: while it stands, what was read still holds, as far as
    /// this process goes.
    pub fn generation(&self) -> u64 {
        self.writes().number()
    }

    /// The same for people, their roles and tokens alone.
    pub fn people_generation(&self) -> u64 {
        self.writes().of_people()
    }

    /// Marks links in mails as this database's; the key is made when it is first
    /// asked for.
    ///
    /// # Errors
    /// When the database fails, or the system gives no random bytes.
    pub async fn seal(&self) -> Result<Seal> {
        Ok(Seal::new(self.house_key("links", &seal::fresh()?).await?))
    }

    fn writes(&self) -> &Writes {
        match &self.inner {
            Inner::Sqlite(pools) => pools.writes(),
            Inner::Postgres(pools) => pools.writes(),
        }
    }
}

/// Writes the methods of [`Store`] that hand on to the queries of the database
/// in use, and the list of their names.
macro_rules! methods {
    ($(
        $(#[doc = $doc:literal])+
        $module:ident::$name:ident($($argument:ident: $kind:ty),* $(,)?) -> $given:ty;
    )+) => {
        impl Store {
            $(
                $(#[doc = $doc])+
                pub async fn $name(&self, $($argument: $kind),*) -> Result<$given> {
                    let work: Work<'_, $given> = match &self.inner {
                        Inner::Sqlite(pools) => {
                            Box::pin(sqlite::$module::$name(pools, $($argument),*))
                        }
                        Inner::Postgres(pools) => {
                            Box::pin(postgres::$module::$name(pools, $($argument),*))
                        }
                    };
                    let before = (self.generation(), self.people_generation());
                    let given = work.await;
                    match (self.generation(), self.people_generation()) {
                        now if now == before => {}
                        (_, people) if people == before.1 => self.writes().note(),
                        _ => self.writes().note_people(),
                    }
                    given
                }
            )+
        }

        /// The names of all public methods of [`Store`]; the behaviour suite
        /// fails while it leaves one uncalled.
        pub const METHODS: &[&str] = &["open", "migrate", "version_of", "look_at", "snapshot", "copy_to", "on_behalf", "generation", "people_generation", "seal", $(stringify!($name)),+];
    };
}

// Asked on someone's behalf, what they do not see is not there. Lists come in
// order of id and take the last id of the page before; none for
// the first page. Unless said otherwise an error means that the database
// failed, or that a row named by its id is not there (`NotFound`).
methods! {
    /// Adds a farm. Conflict when its id is taken.
    farms::add_farm(farm: &Farm) -> ();
    /// A farm by its id.
    farms::farm(id: &str) -> Option<Farm>;
    /// The farms in order of id.
    farms::farms(after: Option<&str>, limit: u32) -> Vec<Farm>;
    /// Changes a farm's name and where its alerts go. Here and in the other
    /// methods that take a row as it was `held`: `Changed`, and nothing done,
    /// when it is no longer so.
    farms::change_farm(held: &Farm, name: &str, alert_emails: &[String], notices: &[Notice]) -> ();

    /// Closes a farm, or opens it again: closed it is only read, and nothing is
    /// reckoned of it.
    farms::close_farm(held: &Farm, at: Option<Instant>) -> ();

    /// Adds a site at version 1. Conflict when its id is taken.
    sites::add_site(site: &Site) -> ();
    /// A site by its id; all see those of the server.
    sites::site(id: &str) -> Option<Site>;
    /// The sites in order of id; with a farm, those of that farm alone.
    sites::sites(farm_id: Option<&str>, after: Option<&str>, limit: u32) -> Vec<Site>;

    /// Adds a source. A feed's cell becomes due at once, even while it is
    /// leased: that lease ends. Conflict when the id is taken, or the name
    /// within the site; refused when a feed lacks provider or cell.
    sources::add_source(source: &Source) -> ();
    /// A source by its id.
    sources::source(id: &str) -> Option<Source>;
    /// The sources of a site, the most trusted first.
    sources::sources_of(site_id: &str) -> Vec<Source>;
    /// How each source of a site stands, the most trusted first.
    sources::source_states(site_id: &str) -> Vec<SourceState>;
    /// Sets how a source's files are to be read. When that changes whether its
    /// readings are checked, the site's version is raised. Its files in the watched
    /// folder are read again.
    sources::set_mapping(held: &Source, mapping: &Value) -> ();
    /// The files of a source in the watched folder as they were last looked at, by
    /// name.
    sources::taken_files(source_id: &str) -> Vec<TakenFile>;
    /// Notes how such a file is now, in the place of what was noted before.
    sources::note_taken_file(file: &TakenFile) -> ();

    /// Stores readings of one source, in any order; of several for one time
    /// the last holds. All are stored or none. When one is new or corrects
    /// another the site's version is raised. Refused when a temperature is
    /// not finite.
    readings::store_readings(source_id: &str, readings: &[Reading], received_at: Instant) -> Upload;
    /// The readings of a site from `from` to `to`, both included, for each
    /// source, the most trusted first.
    readings::readings(site_id: &str, from: Instant, to: Instant) -> Vec<(Source, Vec<Reading>)>;
    /// A page of the readings of all sources of a site from `from` to `to`,
    /// both included, each with its source's id, in order of time and of that
    /// id. `after` is the last of the page before.
    readings::readings_page(site_id: &str, from: Instant, to: Instant, after: Option<(Instant, &str)>, limit: u32) -> Vec<(String, Reading)>;
    /// What readings of a source from `from` to `to`, both included, were
    /// before they were corrected, in order of time and then of correction.
    readings::earlier_readings(source_id: &str, from: Instant, to: Instant) -> Vec<Earlier>;
    /// A site with its readings from `from` to `to`, both included, and its
    /// forecast, all of one moment.
    readings::site_weather(site_id: &str, from: Instant, to: Instant) -> SiteWeather;

    /// The same of a block, at whichever site it was when.
    readings::block_weather(block_id: &str, from: Instant, to: Instant) -> SiteWeather;

    /// Stores what one fetch of a feed brought for one source: readings as
    /// [`Store::store_readings`] does, and the forecast as it was issued. A
    /// forecast with other hours than the one before raises the site's
    /// version.
    feeds::store_fetch(source_id: &str, readings: &[Reading], forecast: Option<&Forecast>, fetched_at: Instant) -> Upload;
    /// Stores what one fetch of a cell brought for all sources fed from it, all or
    /// nothing; gives what became of their readings together.
    feeds::store_cell(brought: &[Brought<'_>], fetched_at: Instant) -> Upload;
    /// The newest forecast of the most trusted source of a site that has one,
    /// with that source's id.
    feeds::latest_forecast(site_id: &str) -> Option<(String, Forecast)>;
    /// A page of a source's forecasts as they were issued from `from` to `to`, both
    /// included, in order of issue and fetch. `after` are those two of the last one
    /// of the page before.
    feeds::issues(source_id: &str, from: Instant, to: Instant, after: Option<(Instant, Instant)>, limit: u32) -> Vec<Issue>;
    /// A source's forecasts as they were issued from `from` to `to`, both included, of
    /// each stretch of `every` seconds the first, in order.
    feeds::forecasts_every(source_id: &str, from: Instant, to: Instant, every: i64) -> Vec<Forecast>;
    /// Keeps the members of an ensemble as they were issued.
    feeds::store_members(source_id: &str, members: &Members, fetched_at: Instant) -> ();
    /// The newest members of the most trusted source of a site that has any, with
    /// that source's id.
    feeds::latest_members(site_id: &str) -> Option<(String, Members)>;
    /// Leases cells that are due and leased to nobody else, the longest due
    /// first. Of a provider that is left alone none, and one when that time is
    /// over.
    feeds::lease_cells(now: Instant, lease_until: Instant, limit: u32) -> Vec<LeasedCell>;
    /// Ends a lease of a cell with what came of it. Here and in `put_off_cell`:
    /// false, and nothing changed, when the lease is no longer that of the token.
    feeds::finish_cell(provider: &str, cell: &str, token: i64, fetched: Fetched<'_>, now: Instant) -> bool;
    /// Ends a lease of a cell that was not asked for, and says when it is due.
    feeds::put_off_cell(provider: &str, cell: &str, token: i64, next_at: Instant) -> bool;
    /// Makes a cell due at once for whoever waits for it; false when it is due already,
    /// or no source is fed from it. A lease of it goes on.
    feeds::ask_soon(provider: &str, cell: &str, now: Instant) -> bool;
    /// Stores the rest of the air; what one is silent of stays as it was. Gives
    /// how many rows were written.
    feeds::store_air(source_id: &str, air: &[Air], received_at: Instant) -> u64;
    /// The rest of the air at a site from `from` to `to`, both included, by the id
    /// of each source that has any, the most trusted first.
    feeds::air(site_id: &str, from: Instant, to: Instant) -> Vec<(String, Vec<Air>)>;
    /// Counts what is to be asked of a provider against limits over windows of so
    /// many seconds, counted from 1970 on. When one of them would be passed
    /// nothing is counted, and the answer is when there is room again.
    providers::spend(provider: &str, cost: u64, limits: &[(i64, u64)], now: Instant) -> Option<Instant>;
    /// Notes that a provider answered.
    providers::provider_well(provider: &str, now: Instant) -> ();
    /// Notes that it did not, and gives until when it is left alone: the first
    /// failure for the first of `pauses` (seconds; 0 for not at all), the next for
    /// the next, and so on with the last.
    providers::provider_failed(provider: &str, error: &str, pauses: &[i64], now: Instant) -> Option<Instant>;
    /// All providers that were ever asked.
    providers::providers() -> Vec<ProviderState>;
    /// All cells, for display.
    feeds::cells() -> Vec<Cell>;

    /// Adds a block at version 1. Conflict when its id is taken.
    blocks::add_block(block: &Block) -> ();
    /// Adds blocks, all or none. Conflict when the id of one is taken.
    blocks::add_blocks(blocks: &[Block]) -> ();
    /// A block by its id.
    blocks::block(id: &str) -> Option<Block>;
    /// The blocks in order of id; with a farm, those of that farm alone.
    blocks::blocks(farm_id: Option<&str>, after: Option<&str>, limit: u32) -> Vec<Block>;
    /// Changes a block's name, details and geometry and gives its version, which is
    /// raised when they differ from what is stored.
    blocks::change_block(held: &Block, name: &str, details: &Value, geometry: Option<&Value>) -> i64;

    /// Moves a block to another site of its farm or of the server: from then on
    /// its temperature is that site's. Gives its version. Refused before it came
    /// to its present site.
    blocks::move_block(held: &Block, site_id: &str, from: Instant) -> i64;
    /// Where a block was before, the earliest first.
    blocks::stays_of(block_id: &str) -> Vec<Stay>;

    /// Archives a block, or takes it up again, and gives its version: archived it
    /// is only read, and nothing is reckoned of it.
    blocks::archive_block(held: &Block, at: Option<Instant>) -> i64;

    /// Notes that a person confirmed a material for a farm; its seasons are then
    /// stale. Conflict when the id is taken.
    confirmations::confirm(confirmed: &Confirmed) -> ();
    /// All that was ever confirmed on a farm, in order of id.
    confirmations::confirmations(farm_id: &str) -> Vec<Confirmed>;
    /// Takes a confirmation back; false when there is none that stands.
    confirmations::take_confirmation_back(farm_id: &str, id: &str, at: Instant) -> bool;
    /// Sets a farm's own table of a kind, or removes it; its seasons are then stale.
    confirmations::set_farm_rule(farm_id: &str, kind: &str, doc: Option<&Value>, at: Instant) -> ();
    /// A farm's own table of a kind.
    confirmations::farm_rule(farm_id: &str, kind: &str) -> Option<Value>;

    /// Keeps an address of a farm's calendar. Conflict when its id or hash is taken.
    calendars::add_calendar(calendar: &Calendar) -> ();
    /// A calendar by its id, one that was revoked too.
    calendars::calendar(id: &str) -> Option<Calendar>;
    /// The calendar whose secret has this hash, while it holds.
    calendars::calendar_by_hash(hash: &str) -> Option<Calendar>;
    /// The calendars of a farm that hold, in order of id.
    calendars::calendars_of(farm_id: &str) -> Vec<Calendar>;
    /// Notes that a calendar was read.
    calendars::note_calendar_read(id: &str, at: Instant) -> ();
    /// Revokes a calendar, of a closed farm too; false when it no longer held.
    calendars::revoke_calendar(calendar: &Calendar, at: Instant) -> bool;
    /// The seasons of a farm that were reckoned, from one bloom year to another, both
    /// included, in order of block and year; of a closed farm and of archived blocks
    /// none.
    calendars::calendar_seasons(farm_id: &str, years: (i32, i32), limit: u32) -> Vec<CalendarSeason>;

    /// Sets the plan of a season, which begins with it if it is not there, and
    /// gives the plan's version, which is raised when it differs from what is
    /// stored. `held` is the version it takes the place of; 0 for the first.
    plans::set_plan(block_id: &str, year: i32, held: i64, doc: &Value, at: Instant) -> i64;
    /// The plan of a season as it now holds.
    plans::plan(block_id: &str, year: i32) -> Option<PlanRow>;
    /// Every version of it, the first one first.
    plans::plans(block_id: &str, year: i32) -> Vec<PlanRow>;

    /// Appends entries to a season's log, which begins with them if it is not
    /// there; all or none. An entry that the log has already changes nothing.
    /// Conflict, naming the id, when it has another under that id.
    logs::append_entries(block_id: &str, year: i32, entries: &[LogEntry]) -> Appended;
    /// The log of a season in order of id.
    logs::log(block_id: &str, year: i32) -> Vec<LogEntry>;
    /// Of the logs of many blocks in a season what tells of their sprays: sprays,
    /// corrections and withdrawals, each with its block, in order of block and id.
    logs::spray_logs(block_ids: &[String], year: i32) -> Vec<(String, LogEntry)>;

    /// A season as last reckoned, with the versions that now stand.
    seasons::season(block_id: &str, year: i32) -> Option<SeasonRow>;
    /// The years in which a block has a season.
    seasons::seasons_of(block_id: &str) -> Vec<i32>;
    /// Seasons to be reckoned: never yet, from other versions than now stand,
    /// by another program, or because their `look_again_at` has come. Those of
    /// one site come together; `after` is the last of the page before in this
    /// pass.
    seasons::stale_seasons(now: Instant, program: i64, after: Option<&StaleKey>, limit: u32) -> Vec<Stale>;
    /// Writes seasons with their alerts and items, all in one transaction.
    /// Those whose versions no longer stand are left out, with their alerts;
    /// gives how many were written.
    seasons::commit_reckoned(reckoned: &[Reckoned], now: Instant) -> u64;

    /// The seasons of a year with their blocks, in order of block; with a farm,
    /// those of that farm alone.
    board::board(year: i32, farm_id: Option<&str>, limit: u32) -> Vec<BoardRow>;

    /// The alerts in order of id, of a farm or a block when given.
    alerts::alerts(farm_id: Option<&str>, block_id: Option<&str>, after: Option<&str>, limit: u32) -> Vec<AlertRow>;
    /// The alerts raised since a time, of a farm when given, the latest first.
    alerts::alerts_since(since: Instant, farm_id: Option<&str>, limit: u32) -> Vec<AlertRow>;
    /// An alert by its id.
    alerts::alert(id: &str) -> Option<AlertRow>;
    /// All alerts of a season, the oldest first.
    alerts::alerts_of(block_id: &str, year: i32) -> Vec<AlertRow>;
    /// Notes that a person took note of an alert. False when one had already;
    /// the first time holds.
    alerts::acknowledge(id: &str, at: Instant) -> bool;

    /// Items that wait for a message and may have one by `now`, those of one
    /// recipient together, of the oldest alerts first.
    outbox::uncomposed(now: Instant, limit: u32) -> Vec<Uncomposed>;
    /// Notes why an item gets no message; one that has a message already is
    /// left as it is.
    outbox::give_up_item(id: &str, reason: &str) -> ();
    /// Gives up what has not gone out of alerts that are of no use any more:
    /// items without a message, and messages whose alerts all are so. Gives how
    /// many items and messages.
    outbox::give_up_outdated(now: Instant) -> u64;
    /// Gives up all that has not gone out, whatever its use, and gives how much.
    outbox::give_up_unsent(reason: &str) -> u64;
    /// Stores messages, each with the ids of the items it carries, all in one
    /// transaction. A message of whose items one is carried already is left
    /// out whole; gives how many were stored. Refused when a message carries
    /// nothing. Conflict when its id or header id is taken.
    outbox::add_messages(messages: &[(Message, Vec<String>)]) -> u64;
    /// Leases messages that are due and leased to nobody else, the oldest
    /// first; with `whenever` also those that are not due yet. A message whose
    /// lease ran out after it was offered comes again, its outcome noted as unknown.
    outbox::lease_messages(now: Instant, lease_until: Instant, limit: u32, whenever: bool) -> Vec<LeasedMessage>;
    /// Notes that a message's bytes are about to go out. Here and in the other
    /// `mark_…`: false, and nothing changed, when the lease is no longer that
    /// of the token.
    outbox::mark_offered(id: &str, token: i64) -> bool;
    /// Notes that a server took a message; ends the lease.
    outbox::mark_sent(id: &str, token: i64, at: Instant) -> bool;
    /// Notes that a message was surely not taken, when to try again, and whether
    /// it failed before the server heard of it; ends the lease.
    outbox::mark_later(id: &str, token: i64, next_try_at: Instant, error: &str, relay: bool) -> bool;
    /// Notes that a message was refused for good; ends the lease.
    outbox::mark_failed(id: &str, token: i64, error: &str) -> bool;
    /// Notes that it is not known whether a message was taken, and when to try
    /// again; ends the lease.
    outbox::mark_unknown(id: &str, token: i64, next_try_at: Instant, error: &str) -> bool;
    /// Since when the oldest thing that has neither been sent nor failed has
    /// been waiting, composed or not.
    outbox::oldest_unsent() -> Option<Instant>;
    /// The messages that carry an alert, the oldest first.
    outbox::messages_of(alert_id: &str) -> Vec<Message>;
    /// What was decided for each recipient of an alert, in order of address.
    outbox::items_of(alert_id: &str) -> Vec<ItemShown>;

    /// Has messages that failed before the server heard of them tried again at
    /// once; gives how many.
    notices::hasten(now: Instant) -> u64;
    /// Adds notices; one whose id is there stays as it is.
    notices::add_notices(notices: &[Notice]) -> ();
    /// Notices that wait for a message, the oldest first.
    notices::uncomposed_notices(limit: u32) -> Vec<Notice>;
    /// Stores the message that carries a notice. False when one does already.
    notices::carry_notice(notice_id: &str, message: &Message) -> bool;
    /// Notes why a notice gets no message.
    notices::give_up_notice(id: &str, reason: &str) -> ();
    /// Stores a message that carries neither alerts nor a notice. False when one of
    /// its id is there.
    notices::add_once(message: &Message) -> bool;
    /// A message by its id.
    notices::message(id: &str) -> Option<Message>;
    /// A message by its Message-ID.
    notices::message_by_header(header_id: &str) -> Option<Message>;
    /// The alerts that a message carries.
    notices::alerts_in(message_id: &str) -> Vec<AlertRow>;
    /// Notes that a message that was offered came back, once.
    notices::note_bounce(header_id: &str, error: &str, at: Instant) -> bool;
    /// Messages that were given up or came back, of which nobody was told.
    notices::failed_untold(limit: u32) -> Vec<Failed>;
    /// Notes that people are told of such a message, with what they are told.
    notices::tell_failure(message_id: &str, notices: &[Notice], at: Instant) -> ();
    /// Items that could have gone out at `since` and have not reached their
    /// recipient, for which no other way was tried, while they are of use.
    notices::undelivered(since: Instant, now: Instant, limit: u32) -> Vec<Undelivered>;
    /// Notes that another way was tried for an item, and adds items for others.
    /// False when it was tried before.
    notices::try_another_way(item_id: &str, alert_id: &str, to: &[Addressed], at: Instant) -> bool;

    /// Adds a contact with the notices that go with it. Conflict when its id is
    /// taken, or its address on the farm.
    contacts::add_contact(contact: &Contact, notices: &[Notice]) -> ();
    /// A contact by its id.
    contacts::contact(id: &str) -> Option<Contact>;
    /// The contacts of a farm in order of id.
    contacts::contacts_of(farm_id: &str) -> Vec<Contact>;
    /// All contacts of farms that are open who are confirmed and get mail.
    contacts::all_contacts() -> Vec<Contact>;
    /// Changes a contact's name, pending address and wishes.
    contacts::change_contact(held: &Contact, as_it_is: &Contact, notices: &[Notice]) -> ();
    /// Removes a contact.
    contacts::remove_contact(held: &Contact, notices: &[Notice]) -> ();
    /// Confirms an address of a contact, which gets mail from then on. False when
    /// it is not the one that waits, or the farm has another contact of it.
    contacts::confirm_contact(id: &str, email: &str, at: Instant) -> bool;
    /// Lets a contact hear nothing of a block while its season stays in a state.
    contacts::mute(mute: &Mute) -> ();
    /// Ends that. False when there was nothing to end.
    contacts::unmute(contact_id: &str, block_id: &str, year: i32) -> bool;
    /// What a contact wants to hear nothing of.
    contacts::mutes_of(contact_id: &str) -> Vec<Mute>;
    /// Notes that an address of a farm gets nothing any more, with the notices that
    /// tell so. False when that is known.
    contacts::silence(silenced: &Silenced, notices: &[Notice]) -> bool;
    /// The addresses of a farm that get nothing.
    contacts::silenced_of(farm_id: &str) -> Vec<Silenced>;
    /// Mail addresses of those who look after a farm: its own list, its advisors and
    /// its confirmed contacts, without one address and without those that get nothing.
    contacts::caretakers(farm_id: &str, without: &str) -> Vec<String>;
    /// The farms that a message speaks of.
    contacts::farms_of_mail(message_id: &str) -> Vec<String>;
    /// A secret of the house; `fresh` becomes it where there is none.
    contacts::house_key(kind: &str, fresh: &str) -> String;

    /// Brings what waits until after `beyond` forward to `now`, as the pauses of cells,
    /// messages and calls, and ends leases that no clock but one far ahead gave. Gives
    /// how many that were.
    waits::bring_forward(now: Instant, beyond: Instant) -> u64;
    /// What was expected of a block's seasons by forecasts issued since `from`, in order
    /// of issue.
    expectations::expected_of(block_id: &str, from: Instant, limit: u32) -> Vec<Expected>;
    /// Notes that an instance is at work, by the name of its journal.
    journal::note_instance(name: &str, at: Instant) -> ();
    /// Instances whose journals must be read before anything goes out.
    journal::unread_journals() -> Vec<String>;
    /// Holds all mail until the journals of all instances are read; where none is
    /// known, until an operator lets it go. Gives how many that are.
    journal::hold_for_journals(unnamed: &str, at: Instant) -> u64;
    /// Lets mail go without the journals; gives whose were not read.
    journal::release() -> Vec<String>;
    /// Takes what an instance's journal says of messages, and notes that it is
    /// read. Gives how many messages here are settled by it.
    journal::take_journal(name: &str, told: &[Journaled]) -> u64;

    /// Adds a hook at version 1. Conflict when its id is taken.
    hooks::add_hook(hook: &Hook) -> ();
    /// A hook by its id.
    hooks::hook(id: &str) -> Option<Hook>;
    /// The hooks of a farm in order of id.
    hooks::hooks_of(farm_id: &str) -> Vec<Hook>;
    /// Changes a hook's name, address, kinds and secrets, and whether it is off;
    /// gives its version, which is raised. Switched off, what waits is given up.
    hooks::change_hook(held: &Hook, to: &Hook) -> i64;
    /// Removes a hook and its calls.
    hooks::remove_hook(held: &Hook) -> ();
    /// The calls of a hook, the latest first; `after` is the last of the page before.
    hook_calls::hook_calls(hook_id: &str, after: Option<&str>, limit: u32) -> Vec<HookCall>;
    /// A call by its id.
    hook_calls::hook_call(id: &str) -> Option<HookCall>;
    /// Adds a call that only tries a hook. Conflict when its id is taken.
    hook_calls::add_test_call(id: &str, hook_id: &str, at: Instant) -> ();
    /// Sends a call once more, whatever became of it, under its id and with its
    /// bytes; its tries begin anew. False, and nothing changed, while it is under way.
    hook_calls::replay_call(id: &str, at: Instant) -> bool;
    /// Leases calls that are due, of each hook at most one and none while another of
    /// it is under way, those of the longest waiting hook first. Each lease counts
    /// as an attempt: the receiver may have it from here on.
    hook_calls::lease_calls(now: Instant, lease_until: Instant, limit: u32) -> Vec<LeasedCall>;
    /// Keeps the body of a call that has none yet. Here and in `end_call`: false,
    /// and nothing changed, when the lease is no longer that of the token.
    hook_calls::keep_call_body(id: &str, token: i64, body: &str) -> bool;
    /// Notes what came of a call and ends its lease; where its receiver wants no
    /// more calls, the hook is switched off with the reason.
    hook_calls::end_call(id: &str, token: i64, end: &CallEnd, now: Instant) -> bool;
    /// Gives up calls that wait for hooks that are off, or to tell of alerts that are
    /// of no use any more, those aside that someone asked for; gives how many.
    hook_calls::give_up_calls(now: Instant) -> u64;

    /// Adds a curve, which makes every season stale; the same again changes
    /// nothing. Conflict when another stands under that id.
    shared::add_curve(id: &str, doc: &Value, at: Instant) -> ();
    /// All curves in order of id.
    shared::curves() -> Vec<Curve>;
    /// Adds a material, which makes every season stale; the same again changes
    /// nothing. Conflict when another stands under that id.
    shared::add_material(id: &str, doc: &Value, at: Instant) -> ();
    /// All materials in order of id.
    shared::materials() -> Vec<Material>;
    /// Changes a material; when it differs from what is stored, every season is
    /// stale, since plans and sprays may name it.
    shared::change_material(id: &str, doc: &Value, at: Instant) -> ();

    /// A person by their id.
    people::person(id: &str) -> Option<Person>;
    /// A person by their mail address in small letters.
    people::person_by_email(email: &str) -> Option<Person>;
    /// How many people there are.
    people::person_count() -> u64;
    /// The people of the server.
    people::people(after: Option<&str>, limit: u32) -> Vec<Person>;
    /// Makes a person an operator, or no operator any more. Refused for the last
    /// one.
    people::make_operator(held: &Person, operator: bool) -> ();
    /// Changes a person's name.
    people::change_person(held: &Person, name: &str, units: Units) -> ();
    /// Removes a person: their name, address, password and roles go, their tokens
    /// end, and what they did stays under the role that they had. Refused for the
    /// last operator.
    people::remove_person(held: &Person, at: Instant) -> ();
    /// A person's roles in order of farm.
    people::memberships_of(person_id: &str) -> Vec<Membership>;
    /// The people of a farm with their roles, in order of person.
    people::members_of(farm_id: &str) -> Vec<(Person, Membership)>;
    /// Gives a person a role on a farm, in place of the one before, if any.
    people::set_role(person_id: &str, farm_id: &str, held: Option<Role>, role: Role, at: Instant) -> ();
    /// Ends a person's role on a farm.
    people::end_role(held: &Membership) -> ();

    /// Adds a token or a sign-in. Conflict when its id or hash is taken.
    credentials::add_credential(credential: &Credential) -> ();
    /// How many there ever were.
    credentials::credential_count() -> u64;
    /// The one whose secret has this hash, whether it still holds or not.
    credentials::credential_by_hash(hash: &str) -> Option<Credential>;
    /// A person's tokens and sign-ins in order of id.
    credentials::credentials_of(person_id: &str) -> Vec<Credential>;
    /// Notes when one was used last.
    credentials::note_use(id: &str, at: Instant) -> ();
    /// Takes one back. False when it was already, or is not there.
    credentials::revoke(id: &str, at: Instant) -> bool;
    /// Counts an attempt to sign in under a key and gives how many there were
    /// since when. After `window` seconds the count begins anew.
    credentials::count_attempt(key: &str, now: Instant, window: i64) -> (i64, Instant);
    /// Forgets the attempts under a key.
    credentials::forget_attempts(key: &str) -> ();

    /// Adds a link; a new claim ends those before it.
    links::add_link(link: &Link) -> ();
    /// The link whose secret has this hash, whether it still works or not.
    links::link_by_hash(hash: &str) -> Option<Link>;
    /// The invitations to a farm that still work, in order of id.
    links::invitations_of(farm_id: &str, now: Instant) -> Vec<Link>;
    /// Takes an invitation back. False when it does not work any more, or is not
    /// there.
    links::end_invitation(farm_id: &str, id: &str, now: Instant) -> bool;
    /// Uses a link up, and does what it is for, all or nothing. A claim adds
    /// the person as operator, unless there is one. An invitation gives its
    /// role to the person of its address, who is added when unknown. A reset
    /// sets the password of the person of its address and ends their sign-ins.
    /// None when it was used, has ended or is not there.
    links::redeem(hash: &str, person: &Person, now: Instant) -> Option<Person>;

    /// What changed after a place, the earliest first.
    notes::changes(after: Option<&ChangeKey>, limit: u32) -> Vec<Change>;
    /// Who did what, on a farm when given.
    notes::audit(farm_id: Option<&str>, part: AuditPart, limit: u32) -> Vec<Audit>;

    /// Notes that a request with a key came, unless it came before: whose it
    /// is, and what it asks. One that began before `given_up` without an answer
    /// may be done again.
    answers::ask(bearer: &str, key: &str, fingerprint: &str, now: Instant, given_up: Instant) -> Asked;
    /// Keeps the answer to it.
    answers::keep_answer(bearer: &str, key: &str, answer: &Answer) -> ();
    /// Forgets that it came, since nothing was done; an answer stays.
    answers::unask(bearer: &str, key: &str) -> ();
    /// Forgets what came before a time, and gives how many.
    answers::forget_answers(before: Instant) -> u64;

    /// What a person did, the latest first.
    notes::deeds_of(person_id: &str, limit: u32) -> Vec<Audit>;

    /// Asks the database for a sign of life.
    schema::ping() -> ();
    /// What is wrong with the database's file, nothing when it is sound. When
    /// `thorough` every row and what it names is looked at. On Postgres the
    /// server itself looks after that.
    schema::faults(thorough: bool) -> Vec<String>;
    /// How much there is of what.
    schema::figures(now: Instant) -> Figures;
    /// How many rows each table has, and their sum.
    copying::sums() -> Vec<TableSum>;
    /// The version of the database's schema.
    schema::schema_version() -> i64;
    /// Closes all connections, once those at work have finished.
    schema::close() -> ();
}
