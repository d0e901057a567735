//! Putting it together: store, engine and API of one running service.

use std::fs::{File, TryLockError};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use access::password::Passwords;
use alerts::deliver::{Outlet, envelope_from};
use alerts::mail::bounce_box::BounceBox;
use alerts::mail::smtp::Relay;
use alerts::sender::{Links, Sender};
use anyhow::{Context, bail};
use axum::Router;
use axum::middleware::{from_fn, from_fn_with_state};
use engine::{Awake, Bells, Engine, Meters, Way};
use model::time::Clock;
use prometheus_client::registry::Registry;
use store::{Seal, Store};
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use weather::feeds::bright_sky::{self, BrightSky};
use weather::feeds::met_norway::{self, MetNorway};
use weather::feeds::nws::{self, Nws};
use weather::feeds::open_meteo::{self, ApiKey, OpenMeteo};
use weather::feeds::{Cause, ClientSettings, Feed};

use crate::hooks::Caller;
use crate::settings::Settings;
use crate::{document, journal, metrics, post};

/// A service ready to run.
pub(crate) struct House {
    /// The loops, or what they are made of.
    pub(crate) engine: Engine,
    /// The API's routes.
    pub(crate) router: Router,
    /// The token made on the first start.
    pub(crate) first_token: Option<String>,
    /// Secret of the link by which the first operator takes the server over,
    /// while it has no people.
    pub(crate) claim: Option<String>,
    /// Whether the database was looked through and found sound.
    sound: Arc<AtomicBool>,
    /// Where the metrics are served.
    metrics: Option<(TcpListener, Router)>,
    /// Held while the service runs: the database, and the journal.
    _locks: (Option<File>, File),
}

impl House {
    /// Opens the database and puts the service together.
    pub(crate) async fn open(
        settings: &Settings,
        clock: Arc<dyn Clock>,
        feeds: Vec<Arc<dyn Feed>>,
        address: SocketAddr,
        meters: Meters,
    ) -> anyhow::Result<House> {
        // Two installations of the same provider do no harm.
        let _ = rustls::crypto::ring::default_provider().install_default();
        let lock = if settings.on_postgres() { None } else { Some(lock(&settings.database)?) };
        let held = !settings.on_postgres() && looked_through_first(&settings.database);
        let store = Store::open(&settings.database).await?;
        let journal = journal::open(&store, &settings.journal, &settings.instance).await?;
        journal::enter(&store, &settings.journal, &journal, clock.now()).await?;
        let seal = store.seal().await?;
        let thresholds = Arc::new(document::thresholds(settings.checks.as_deref())?);
        let catalogue = document::catalogue(&document::Instead::of(settings))?.under(&thresholds.rules());
        let bells = Arc::new(Bells::default());
        let caller = Caller::new(&settings.allow_hook_hosts)?;
        let engine = Engine {
            store: store.clone(),
            clock: clock.clone(),
            catalogue: catalogue.clone(),
            thresholds: thresholds.clone(),
            feeds,
            station_files: settings.station_files.clone(),
            sender: sender(settings, address, seal.clone())?,
            journal: journal.journal,
            instance: journal.name,
            way: Arc::new(Way::default()),
            awake: Arc::new(Awake::default()),
            learned: Arc::default(),
            heartbeat_to: heartbeat_to(settings)?,
            outlet: outlet(settings)?,
            bounces: settings.bounces.as_ref().map(|folder| Arc::new(BounceBox::new(folder))),
            carrier: Arc::new(caller.clone()),
            bells: bells.clone(),
            meters,
        };
        let metrics = match settings.metrics_listen {
            Some(address) => Some(listen(address, "--metrics-listen").await?),
            None => None,
        };
        let passwords = Passwords::new().await?;
        let providers = engine.feeds.iter().map(|feed| provider(feed.as_ref())).collect();
        let sound = Arc::new(AtomicBool::new(!held));
        let app = api::App {
            sound: sound.clone(),
            store: store.clone(),
            clock: clock.clone(),
            catalogue,
            thresholds,
            providers,
            poke: Arc::new(move |stirred| match stirred {
                api::Stirred::Seasons => bells.seasons(),
                api::Stirred::Feeds => bells.feeds(),
                api::Stirred::Deliveries => bells.sends(),
            }),
            callable: Arc::new(move |url| caller.check(url)),
            requests_a_minute: settings.requests_a_minute,
            version: env!("CARGO_PKG_VERSION"),
        };
        let pages = web::router(web::Web {
            store: store.clone(),
            sight: api::Sight::new(app.clone()),
            clock: clock.clone(),
            passwords,
            trusted_proxies: settings.trusted_proxies.clone().into(),
            seal,
            mail_way: match &engine.outlet {
                Outlet::Folder(folder) => web::MailWay::Folder(folder.display().to_string()),
                Outlet::Server { .. } => web::MailWay::Server,
            },
            post: post::post(settings.public_url.as_ref(), &engine.outlet, &engine.sender, &engine.clock),
        });
        // Last, when nothing can fail any more: these are shown once, and a
        // start that is refused shows nothing.
        let claim = access::link::claim(&store, clock.now()).await?;
        let first_token = access::first_token(&store, clock.now()).await?;
        let router = api::router(app);
        let mut router = router.merge(pages).layer(from_fn(web::nowhere));
        let mut registry = Registry::default();
        engine.meters.register(&mut registry);
        let metrics = metrics.map(|listener| {
            let requests = metrics::Requests::register(&mut registry);
            router = router.clone().layer(from_fn_with_state(requests, metrics::counted));
            (listener, metrics::router(registry, engine.store.clone(), engine.clock.clone()))
        });
        Ok(House { engine, router, first_token, claim, sound, metrics, _locks: (lock, journal.lock) })
    }

    /// Where the metrics are served, if anywhere.
    pub(crate) fn metrics_address(&self) -> Option<SocketAddr> {
        self.metrics.as_ref().and_then(|(listener, _)| listener.local_addr().ok())
    }

    /// Looks the database through. Where that comes first the server is not ready
    /// until it is done, and no loop works on it.
    ///
    /// # Errors
    /// When it is damaged.
    pub(crate) fn look_through(&self) -> impl Future<Output = anyhow::Result<()>> + Send + 'static {
        let (store, sound) = (self.engine.store.clone(), self.sound.clone());
        async move {
            let faults = store.faults(false).await.context("the database does not read")?;
            if let Some(first) = faults.first() {
                bail!(
                    "the database is damaged ({first}): move it away with the files -wal and -shm beside it, and put a backup back with `bloomtide restore`"
                );
            }
            sound.store(true, Ordering::Relaxed);
            Ok(())
        }
    }

    /// Serves the API and runs the loops until `stop`; then lets what is under
    /// way finish.
    pub(crate) async fn run(self, listener: TcpListener, stop: CancellationToken) -> anyhow::Result<()> {
        let store = self.engine.store.clone();
        let (look_through, stop_loops) = (self.look_through(), stop.clone());
        let first = !self.sound.load(Ordering::Relaxed);
        let engine = self.engine;
        let loops = tokio::spawn(async move {
            let looking = async {
                let looked = tokio::select! {
                    looked = look_through => looked,
                    () = stop_loops.cancelled() => Ok(()),
                };
                if looked.is_err() {
                    stop_loops.cancel();
                }
                looked
            };
            if first {
                looking.await?;
                engine::run(engine, stop_loops.clone()).await;
                return Ok(());
            }
            let (looked, ()) = tokio::join!(looking, engine::run(engine, stop_loops.clone()));
            looked
        });
        if let Some((listener, metrics)) = self.metrics {
            let stopped = stop.clone();
            tokio::spawn(async move {
                axum::serve(listener, metrics).with_graceful_shutdown(stopped.cancelled_owned()).await
            });
        }
        let stopped = stop.clone();
        let app = self.router.into_make_service_with_connect_info::<SocketAddr>();
        let served =
            axum::serve(listener, app).with_graceful_shutdown(async move { stopped.cancelled().await }).await;
        stop.cancel();
        let looped = loops.await.context("the loops ended unasked");
        store.close().await?;
        looped??;
        served.context("the API stopped")
    }
}

pub(crate) fn provider(feed: &dyn Feed) -> api::Provider {
    api::Provider {
        name: feed.provider(),
        kind: feed.kind(),
        attribution: feed.attribution().text,
        limits: feed.limits(),
        cell: |place| place.grid_cell().key,
    }
}

/// What feeds are asked through.
fn client(settings: &Settings) -> anyhow::Result<weather::feeds::reach::Client> {
    let asked = ClientSettings {
        contact: settings.contact.clone(),
        allow: settings.allow_feed_hosts.clone(),
        ..ClientSettings::default()
    };
    weather::feeds::client(&asked).context("weather feeds: --contact, --allow-feed-hosts")
}

fn of_open_meteo(settings: &Settings) -> open_meteo::Settings {
    let given = |url: &Option<String>, default: &str| url.clone().unwrap_or_else(|| default.to_owned());
    open_meteo::Settings {
        base_url: given(&settings.open_meteo_url, open_meteo::DEFAULT_BASE_URL),
        ensemble_url: given(&settings.open_meteo_ensemble_url, open_meteo::DEFAULT_ENSEMBLE_URL),
        archive_url: given(&settings.open_meteo_archive_url, open_meteo::DEFAULT_ARCHIVE_URL),
        members: settings.open_meteo_ensemble_url.is_some(),
        api_key: settings.open_meteo_key.clone().map(ApiKey::new),
        ..open_meteo::Settings::default()
    }
}

/// Open-Meteo alone, for what only it has; none when the settings do not name it.
pub(crate) fn open_meteo(settings: &Settings) -> anyhow::Result<Option<OpenMeteo>> {
    let _ = rustls::crypto::ring::default_provider().install_default();
    if !settings.feeds.iter().any(|name| name.trim() == open_meteo::PROVIDER) {
        return Ok(None);
    }
    let feed = OpenMeteo::new(of_open_meteo(settings), client(settings)?);
    Ok(Some(feed.context("weather feeds: open-meteo")?))
}

/// The live feeds that the settings call for. One that answers nobody without a
/// contact is refused without one, before the service starts.
pub(crate) fn feeds(settings: &Settings) -> anyhow::Result<Vec<Arc<dyn Feed>>> {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let client = client(settings)?;
    let mut feeds: Vec<Arc<dyn Feed>> = Vec::new();
    for name in &settings.feeds {
        let client = client.clone();
        let at = |url: &Option<String>, default: &str| url.clone().unwrap_or_else(|| default.to_owned());
        let feed: Result<Arc<dyn Feed>, Cause> = match name.trim() {
            open_meteo::PROVIDER => {
                OpenMeteo::new(of_open_meteo(settings), client).map(|feed| Arc::new(feed) as Arc<dyn Feed>)
            }
            nws::PROVIDER => {
                let contact = settings.contact.clone().unwrap_or_default();
                let settings =
                    nws::Settings { base_url: at(&settings.nws_url, nws::DEFAULT_BASE_URL), contact };
                Nws::new(settings, client).map(|feed| Arc::new(feed) as Arc<dyn Feed>)
            }
            met_norway::PROVIDER => {
                let base_url = at(&settings.met_norway_url, met_norway::DEFAULT_BASE_URL);
                let settings = met_norway::Settings { base_url, contact: settings.contact.clone() };
                MetNorway::new(settings, client).map(|feed| Arc::new(feed) as Arc<dyn Feed>)
            }
            bright_sky::PROVIDER => {
                let base_url = at(&settings.bright_sky_url, bright_sky::DEFAULT_BASE_URL);
                BrightSky::new(bright_sky::Settings { base_url }, client)
                    .map(|feed| Arc::new(feed) as Arc<dyn Feed>)
            }
            other => {
                bail!("--feeds: `{other}` is no feed; there are open-meteo, nws, met-norway and bright-sky")
            }
        };
        feeds.push(feed.with_context(|| format!("feed {name}"))?);
    }
    Ok(feeds)
}

/// The mail server that the settings name, if any, and whom it is trusted by.
pub(crate) fn relay(settings: &Settings) -> anyhow::Result<Option<Relay>> {
    let Some(url) = &settings.smtp else { return Ok(None) };
    let mut relay = Relay::parse(url).context("--smtp")?;
    if let Some(path) = &settings.smtp_ca {
        let named = || format!("--smtp-ca: {}", path.display());
        let pem = std::fs::read(path).with_context(named)?;
        relay.trust(&pem).with_context(named)?;
    }
    Ok(Some(relay))
}

/// Who mails come from, with the links in them: to the address that people reach the
/// server under, or to the one listened on where only this machine sees that.
fn sender(settings: &Settings, address: SocketAddr, seal: Seal) -> anyhow::Result<Sender> {
    let sender = Sender::new(&settings.mail_from).context("--mail-from")?;
    let local = address.ip().is_loopback().then(|| format!("http://{address}"));
    let public_url = settings.public_url.clone().or(local);
    let links = public_url.map(|url| Links { public_url: url.trim_end_matches('/').to_owned(), seal });
    Ok(Sender { links, ..sender })
}

/// The address of the heartbeat, which must be one.
fn heartbeat_to(settings: &Settings) -> anyhow::Result<Option<String>> {
    let to = settings.heartbeat_to.as_deref();
    to.map(|to| envelope_from(to).context("--heartbeat-to")).transpose()
}

fn outlet(settings: &Settings) -> anyhow::Result<Outlet> {
    match relay(settings)? {
        Some(relay) => {
            Ok(Outlet::Server { relay, from: envelope_from(&settings.mail_from).context("--mail-from")? })
        }
        None => {
            let folder = &settings.mail_folder;
            std::fs::create_dir_all(folder)
                .with_context(|| format!("the mail folder {} cannot be made", folder.display()))?;
            Ok(Outlet::Folder(folder.clone()))
        }
    }
}

/// Locks an SQLite file for one service: two would each hold leases that the
/// other does not see in time.
pub(crate) fn lock(database: &str) -> anyhow::Result<File> {
    let file = PathBuf::from(database.trim_start_matches("sqlite://"));
    if let Some(folder) = file.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).with_context(|| format!("{} cannot be made", folder.display()))?;
    }
    // Made when it is not there, so that every path and link to it leads to one
    // lock beside it.
    let file = File::options()
        .create(true)
        .append(true)
        .open(&file)
        .and_then(|_| file.canonicalize())
        .with_context(|| format!("{} cannot be written", file.display()))?;
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".lock");
    let path = file.with_file_name(name);
    let file = File::create(&path).with_context(|| format!("{} cannot be written", path.display()))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => bail!(
            "another bloomtide serves {database} already: stop it first, or give this one another --database"
        ),
        Err(TryLockError::Error(error)) => {
            Err(error).with_context(|| format!("{} cannot be locked", path.display()))
        }
    }
}

/// Whether an SQLite file is looked through before anyone works on it: after a stop
/// that left its write-ahead log behind, and where it is so large that nobody would
/// notice for long. Else it is looked through meanwhile.
fn looked_through_first(database: &str) -> bool {
    const LARGE: u64 = 128 << 20;
    let path = database.trim_start_matches("sqlite://");
    let bytes = |path: &str| std::fs::metadata(path).map_or(0, |there| there.len());
    bytes(&format!("{path}-wal")) > 0 || bytes(path) > LARGE
}

/// Listens on an address, with a word on what to do when it is taken.
pub(crate) async fn listen(address: SocketAddr, flag: &str) -> anyhow::Result<TcpListener> {
    TcpListener::bind(address)
        .await
        .with_context(|| format!("cannot listen on {address}: is it taken? {flag} gives another"))
}

/// Listens for SIGINT and SIGTERM from now on; what it gives ends with the
/// first of them.
pub(crate) fn asked_to_stop() -> anyhow::Result<impl Future<Output = ()> + Send + 'static> {
    use tokio::signal::unix::{SignalKind, signal};
    let signal = |kind| signal(kind).context("signals cannot be listened for");
    let (mut interrupt, mut terminate) = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

/// A path for people, from the working directory.
pub(crate) fn shown(path: &Path) -> String {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned()).display().to_string()
}
