//! `demo`: an invented orchard on the real weather of a real spring, played
//! through the real service.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use clap::Args;
use engine::Meters;
use model::time::Clock;
use tokio_util::sync::CancellationToken;
use weather::feeds::Feed;

use crate::cli::say;
use crate::house::{self, House};
use crate::settings::Settings;

mod clock;
mod http;
mod orchard;
mod people;
mod play;
mod report;
mod spring;

use clock::DemoClock;
use http::Api;
use spring::RecordedSpring;

/// Flags of the demo.
#[derive(Debug, Args)]
pub(crate) struct DemoArgs {
    /// Folder for the demo's database and mails; it must be empty or new
    /// [default: a fresh temporary one]
    #[arg(long, value_name = "FOLDER")]
    dir: Option<PathBuf>,
    /// Address to listen on [default: a free port]
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:0", hide_default_value = true)]
    listen: SocketAddr,
    /// Seconds that the whole spring takes; 0 is as fast as it goes.
    #[arg(long, value_name = "SECONDS", default_value_t = 60.0)]
    pace: f64,
    /// End when the spring is through instead of serving on.
    #[arg(long)]
    exit: bool,
    /// Raise every temperature by so many °C and see what that does.
    #[arg(long, value_name = "DEGREES", default_value_t = 0.0, allow_negative_numbers = true)]
    warmer: f64,
    /// Leave a spray out, as "North Bench/1" for the first one there.
    #[arg(long, value_name = "BLOCK/NUMBER")]
    leave_out: Option<String>,
}

/// Runs the command.
pub(crate) async fn run(args: DemoArgs) -> anyhow::Result<()> {
    crate::serve::log_to_stderr("warn");
    let dir = folder(&args)?;
    let clock = Arc::new(DemoClock::new(orchard::begin()));
    let spring = RecordedSpring::new(args.warmer)?;
    let settings = Settings {
        database: dir.join("bloomtide.db").display().to_string(),
        listen: args.listen,
        metrics_listen: None,
        public_url: None,
        trusted_proxies: Vec::new(),
        requests_a_minute: 0,
        smtp: None,
        smtp_ca: None,
        bounces: None,
        mail_folder: dir.join("mail"),
        mail_from: "bloomtide demo <bloomtide@demo.example>".to_owned(),
        journal: dir.join("journal"),
        instance: "main".to_owned(),
        heartbeat_to: None,
        feeds: Vec::new(),
        nws_url: None,
        met_norway_url: None,
        bright_sky_url: None,
        open_meteo_url: None,
        open_meteo_ensemble_url: None,
        open_meteo_archive_url: None,
        open_meteo_key: None,
        allow_feed_hosts: Vec::new(),
        allow_hook_hosts: Vec::new(),
        contact: None,
        station_files: None,
        curves: None,
        materials: None,
        cultivars: None,
        verdict: None,
        slots: None,
        records: None,
        checks: None,
    };
    // Before the house opens: links in mails lead to where it listens.
    let listener = house::listen(settings.listen, "--listen").await?;
    let address = listener.local_addr()?;
    let feeds: Vec<Arc<dyn Feed>> = vec![Arc::new(spring)];
    let house = House::open(&settings, clock.clone(), feeds, address, Meters::default()).await?;
    house.look_through().await?;
    let token = house.first_token.clone().context("a fresh database makes a token")?;

    // The API serves from the first hour on; the passes are driven hour by hour
    // until the spring is through, then the loops take over.
    let stop = CancellationToken::new();
    let stopped = stop.clone();
    let router = house.router.clone();
    let served = tokio::spawn(async move {
        let app = router.into_make_service_with_connect_info::<SocketAddr>();
        axum::serve(listener, app).with_graceful_shutdown(async move { stopped.cancelled().await }).await
    });
    let mut asked_to_stop = Box::pin(house::asked_to_stop()?);
    report::opening(args.warmer);
    let api = Api::new(address, &token)?;
    let leave_out = args.leave_out.as_deref().map(orchard::spray_named).transpose()?;
    let pace = Duration::try_from_secs_f64(args.pace).context("--pace")?;
    play::place(&api).await?;
    let crew = people::invite(&api, &house.engine.store, address, clock.now()).await?;
    let stage =
        play::Stage { crew: &crew, engine: &house.engine, clock: &clock, mail: &settings.mail_folder };
    tokio::select! {
        played = play::spring(&stage, pace, leave_out) => played?,
        () = &mut asked_to_stop => return Ok(()),
    }
    say("");
    say(&format!("database  {}", settings.database));
    say(&format!("mails     {}", settings.mail_folder.display()));
    if args.exit {
        stop.cancel();
        served.await??;
        house.engine.store.close().await?;
        return Ok(());
    }
    say(&format!("API       http://{address}/api/v1/alerts"));
    say(&format!("token     {token}"));
    people::introduce(address);
    say(&format!("try       curl -H 'Authorization: Bearer {token}' http://{address}/api/v1/blocks"));
    say("Serving on, the clock now running with yours from the end of the spring; Ctrl-C ends it.");
    clock.run_on();
    let loops = tokio::spawn(engine::run(house.engine.clone(), stop.clone()));
    asked_to_stop.await;
    stop.cancel();
    served.await??;
    loops.await?;
    house.engine.store.close().await?;
    Ok(())
}

/// The folder that the demo works in.
fn folder(args: &DemoArgs) -> anyhow::Result<PathBuf> {
    match &args.dir {
        None => Ok(tempfile::Builder::new().prefix("bloomtide-demo-").tempdir()?.keep()),
        Some(dir) => {
            std::fs::create_dir_all(dir)
                .with_context(|| format!("--dir: {} cannot be made", dir.display()))?;
            let taken = std::fs::read_dir(dir)?.next().is_some();
            anyhow::ensure!(
                !taken,
                "--dir: {} is not empty; the demo touches nothing that is there",
                dir.display()
            );
            Ok(dir.clone())
        }
    }
}
