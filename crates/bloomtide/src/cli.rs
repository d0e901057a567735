//! The command line.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand, ValueEnum};
use engine::Meters;
use model::time::Instant;

use crate::backup::{self, BackupArgs, CopyArgs, RestoreArgs};
use crate::farm::{self, FarmCommand};
use crate::hindcast::{self, HindcastArgs};
use crate::settings::{Database, Given, Settings};
use crate::token::{self, TokenCommand};
use crate::user::{self, UserCommand};
use crate::verify::{self, VerifyArgs};
use crate::{config, demo, doctor, fit, import, migrate, mix, replay, serve};

/// Tells when each blossom-thinning spray on apples is due, from hourly
/// temperature and your own flower counts, and sends word by mail.
///
/// To see it at work on a real spring: bloomtide demo
#[derive(Debug, Parser)]
#[command(name = "bloomtide", version, max_term_width = 90)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the service: API, weather, reckoning and mail, until stopped.
    ///
    /// On its first start it makes an SQLite database and prints a token for
    /// the API, once. Without --smtp, mails go into a folder as .eml files.
    Serve(ServeArgs),
    /// Play a whole spring in about a minute: invented orchard, real weather.
    ///
    /// Nothing of yours is touched: it works in a fresh folder, says where, and
    /// keeps serving when it is through (--exit ends it there).
    Demo(demo::DemoArgs),
    /// Reckon one season from a file: no database, no network.
    Replay(ReplayArgs),
    /// Fit a growth curve to tubes measured at constant temperatures: no database.
    Fit(FitArgs),
    /// How much product goes into each tank and onto the block: no database.
    Mix(MixArgs),
    /// How the legs would have gone in past springs of a site, by its readings.
    ///
    /// Past springs come in with import, as from the weather provider's archive.
    Hindcast(HindcastArgs),
    /// How good the odds of past seasons were, held against what came.
    Verify(VerifyArgs),
    /// Read a station's CSV file into the readings of a site.
    Import(ImportArgs),
    /// The people of the server, and how they come in.
    #[command(subcommand)]
    User(UserCommand),
    /// The farms of the server.
    #[command(subcommand)]
    Farm(FarmCommand),
    /// Tokens of the API.
    #[command(subcommand)]
    Token(TokenCommand),
    /// Write the whole database into a file, also while it is being served.
    ///
    /// The file is an SQLite database, whatever it was made from; it has the
    /// hashes of passwords and tokens in it, and is readable by its owner alone.
    Backup(BackupArgs),
    /// Put a backup where no database is yet.
    Restore(RestoreArgs),
    /// Copy a database into an empty one of either kind, as from SQLite to
    /// Postgres, with the count and sum of each table.
    CopyDb(CopyArgs),
    /// The settings.
    #[command(subcommand)]
    Config(ConfigCommand),
    /// Look at everything that the service rests on, and say what to do.
    ///
    /// Sends no mail and changes nothing. Ends with 1 when something is broken.
    Doctor(Given),
    /// Print the API's document, OpenAPI 3.1.
    Openapi,
    /// Bring a database up to date. SQLite is also brought up to date by serve.
    Migrate(MigrateArgs),
}

#[derive(Debug, Args)]
struct ServeArgs {
    #[command(flatten)]
    given: Given,
    #[cfg(feature = "trial")]
    #[command(flatten)]
    trial: crate::trial::TrialArgs,
}

/// How replay prints.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(crate) enum Format {
    /// For people.
    Table,
    /// For programs: one object.
    Json,
}

#[derive(Debug, Args)]
pub(crate) struct ReplayArgs {
    /// The season file.
    #[arg(value_name = "SEASON.toml")]
    pub(crate) season: PathBuf,
    /// Reckon as of this time, like 2013-05-01T12:00:00-04:00; by default the
    /// later of the last reading and the last entry.
    #[arg(long, value_name = "TIME", value_parser = Instant::parse)]
    pub(crate) now: Option<Instant>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "table")]
    pub(crate) format: Format,
    /// Also draw the season into this SVG file.
    #[arg(long, value_name = "FILE.svg")]
    pub(crate) picture: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct FitArgs {
    /// The observations: a TOML file with form ("nodes" or "beta"), unit, source and
    /// [[observations]] of celsius, hours and length_mm or length_share.
    #[arg(value_name = "OBSERVATIONS.toml")]
    pub(crate) observations: PathBuf,
    /// How to print it.
    #[arg(long, value_enum, default_value = "table")]
    pub(crate) format: Format,
    /// Also draw the curve among its observations, with what it leaves, into this SVG
    /// file.
    #[arg(long, value_name = "FILE.svg")]
    pub(crate) picture: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct MixArgs {
    /// A material whose usual rate stands in where none is given.
    #[arg(long, value_name = "ID")]
    pub(crate) material: Option<String>,
    /// Rate with its unit: percent, g/L, lb/100-US-gal, L/ha, kg/ha, US-gal/acre,
    /// lb/acre or US-fl-oz/acre, like "2.5 percent".
    #[arg(long, value_name = "NUMBER UNIT")]
    pub(crate) rate: Option<String>,
    /// What the rate is of: product-by-volume, weight-by-volume or per-area.
    #[arg(long, value_name = "WORD")]
    pub(crate) basis: Option<String>,
    /// Finished spray an area, like "1000 L/ha" or "100 US-gal/acre".
    #[arg(long, value_name = "NUMBER UNIT")]
    pub(crate) volume_per_area: Option<String>,
    /// Area to spray, like "1.2 ha" or "3 acre".
    #[arg(long, value_name = "NUMBER UNIT")]
    pub(crate) area: Option<String>,
    /// What the tank holds, like "1000 L" or "300 US-gal".
    #[arg(long, value_name = "NUMBER UNIT")]
    pub(crate) tank: Option<String>,
    /// How to print it.
    #[arg(long, value_enum, default_value = "table")]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
pub(crate) struct ImportArgs {
    #[command(flatten)]
    pub(crate) database: Database,
    /// Id of the site that the readings belong to.
    #[arg(long, value_name = "ID")]
    pub(crate) site: String,
    /// Name of the site's source that the file is of [default: that of the mapping, or
    /// "station file"].
    #[arg(long, value_name = "NAME")]
    pub(crate) source: Option<String>,
    /// What the columns mean: a TOML file with the keys of [weather] in a
    /// season file, or format = with the word of an open archive: isd-lite, ghcnh,
    /// iem-asos, dwd-hourly, tmy3, epw.
    #[arg(long, value_name = "FILE.toml", requires = "file")]
    pub(crate) mapping: Option<PathBuf>,
    /// Instead of a file: hours of past seasons from Open-Meteo's archive, for what
    /// the site's source of it lacks; days of UTC, like 2013-04-01..2013-05-31.
    #[arg(long, value_name = "FROM..TO", conflicts_with_all = ["mapping", "file"])]
    pub(crate) archive: Option<String>,
    /// Shows how the file is understood and keeps nothing of it.
    #[arg(long, requires = "file")]
    pub(crate) dry_run: bool,
    /// The station's file; it may be gzipped. Without --mapping its layout is told
    /// from it, where nothing of that is a guess.
    #[arg(value_name = "FILE", required_unless_present = "archive")]
    pub(crate) file: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum ConfigCommand {
    /// Show the settings in force and where each came from, secrets covered.
    Show(Given),
}

#[derive(Debug, Args)]
struct MigrateArgs {
    #[command(flatten)]
    database: Database,
}

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    match cli.command {
        Command::Replay(args) => replay::run(&args),
        Command::Fit(args) => fit::run(&args),
        Command::Mix(args) => mix::run(&args),
        Command::Demo(args) => on_runtime(demo::run(args)),
        Command::Serve(args) => {
            let meters = Meters::default();
            #[cfg(feature = "trial")]
            let clock = crate::trial::begin(&args.trial, &meters);
            #[cfg(not(feature = "trial"))]
            let clock = crate::clock::system();
            on_runtime(async move { serve::run(Settings::from(&args.given)?, clock, meters).await })
        }
        Command::User(command) => on_runtime(user::run(command)),
        Command::Farm(command) => on_runtime(farm::run(command)),
        Command::Token(command) => on_runtime(token::run(command)),
        Command::Backup(args) => on_runtime(async move { backup::backup(&args).await }),
        Command::Restore(args) => on_runtime(async move { backup::restore(&args).await }),
        Command::CopyDb(args) => on_runtime(async move { backup::copy_db(&args).await }),
        Command::Config(ConfigCommand::Show(given)) => match config::show(&given) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => failed(&error),
        },
        Command::Doctor(given) => doctor::run(&given),
        Command::Import(args) => on_runtime(import::run(args)),
        Command::Hindcast(args) => on_runtime(hindcast::run(args)),
        Command::Verify(args) => on_runtime(verify::run(args)),
        Command::Openapi => {
            say(&format!("{:#}", api::document()));
            ExitCode::SUCCESS
        }
        Command::Migrate(args) => on_runtime(async move { migrate::run(&args.database.in_force()?).await }),
    }
}

pub(crate) fn on_runtime(work: impl Future<Output = anyhow::Result<()>>) -> ExitCode {
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            return failed(&anyhow::Error::new(error).context("the program's threads could not be started"));
        }
    };
    match runtime.block_on(work) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => failed(&error),
    }
}

/// Says on stderr what went wrong; exit code 2.
#[expect(clippy::print_stderr, reason = "this is where the command line speaks to the person")]
pub(crate) fn failed(error: &anyhow::Error) -> ExitCode {
    eprintln!("bloomtide: {error:#}");
    ExitCode::from(2)
}

/// Says something to the person on stdout.
pub(crate) fn say(text: &str) {
    // Whoever reads may have gone, as `head` does: that is no fault of ours.
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// Says something beside the output, on stderr.
#[expect(clippy::print_stderr, reason = "this is where the command line speaks to the person")]
pub(crate) fn warn(text: &str) {
    eprintln!("{text}");
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }
}
