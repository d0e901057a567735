//! How the sources of temperatures stand, and the providers behind them.

use model::series::Flag;
use model::time::{DAY, HOUR, Instant, MINUTE};
use store::{Cell, ProviderState, SourceState, Store, Way};
use weather::checks::{self, Thresholds};

use super::{Findings, LONG_WITHOUT_FETCH, State};

/// Flags are counted over so long.
const FLAGS_OVER: i64 = 7 * DAY;

/// What is known beside the database.
pub(super) struct Known {
    pub(super) thresholds: Thresholds,
    /// What may be asked of each provider that the settings name.
    pub(super) limits: Vec<(&'static str, &'static [(i64, u64)])>,
}

impl Known {
    /// What may still be asked of a provider.
    fn left(&self, provider: &ProviderState, now: Instant) -> String {
        let limits = self.limits.iter().find(|(name, _)| *name == provider.name).map_or(&[][..], |one| one.1);
        let left = limits.iter().map(|(seconds, most)| {
            let spent = provider.spent.iter().find(|spent| spent.0 == *seconds);
            let used = spent.filter(|(_, begin, _)| begin.plus(*seconds) > now).map_or(0, |spent| spent.2);
            format!("{} of {most} left for {} min", most.saturating_sub(used), seconds / MINUTE)
        });
        let left: Vec<String> = left.collect();
        if left.is_empty() { "its feed is off".to_owned() } else { left.join(", ") }
    }
}

/// Sources that have fallen silent, and providers that are left alone.
pub(super) async fn sources(store: &Store, now: Instant, known: &Known, cells: &[Cell], findings: &Findings) {
    let told = async {
        for provider in store.providers().await? {
            let left = known.left(&provider, now);
            match provider.open_until.filter(|until| *until > now) {
                Some(until) => {
                    let why = provider.last_error.unwrap_or_default();
                    let says = format!(
                        "{} is left alone until {until} after {} failures ({why})",
                        provider.name, provider.failures
                    );
                    findings.tell(State::Broken, "provider", &says);
                }
                None => findings.tell(State::Well, "provider", &format!("{} answers; {left}", provider.name)),
            }
        }
        let mut after: Option<String> = None;
        loop {
            let sites = store.sites(None, after.as_deref(), 500).await?;
            let Some(last) = sites.last() else { return Ok::<(), store::StoreError>(()) };
            after = Some(last.id.clone());
            for site in &sites {
                let from = now.plus(-FLAGS_OVER - checks::BEFORE);
                let mut readings = store.readings(&site.id, from, now).await?;
                checks::mark(store::for_checks(&mut readings), now, &known.thresholds);
                for state in store.source_states(&site.id).await? {
                    let own = readings.iter().find(|(source, _)| source.id == state.source.id);
                    let own = own.map_or(&[][..], |(_, readings)| readings);
                    let flags = checks::hours_by_flag(own, now.plus(-FLAGS_OVER), now);
                    let cell = cells.iter().find(|cell| {
                        Some(&cell.provider) == state.source.provider.as_ref()
                            && Some(&cell.cell) == state.source.cell.as_ref()
                    });
                    source(&site.name, &state, &flags, cell, now, findings);
                }
            }
        }
    };
    if let Err(error) = told.await {
        findings.tell(State::Broken, "sources", &error.to_string());
    }
}

fn source(
    site: &str,
    state: &SourceState,
    flags: &[(Flag, u64)],
    cell: Option<&Cell>,
    now: Instant,
    findings: &Findings,
) {
    let name = format!("{site}, {}", state.source.name);
    let Some(last) = state.last_at else {
        return findings.tell(State::Look, "source", &format!("{name} has no reading yet"));
    };
    let all: u64 = flags.iter().map(|(_, hours)| hours).sum();
    let hours = |wanted: Flag| flags.iter().find(|(flag, _)| *flag == wanted).map_or(0, |(_, hours)| *hours);
    let (suspect, failed, missing) = (hours(Flag::Suspect), hours(Flag::Fail), hours(Flag::Missing));
    let says = format!(
        "{name}: last reading {last}, {} old; of {all} hours {suspect} doubtful, {failed} not used, {missing} without a reading{}",
        age(now.since(last)),
        cell.map_or_else(String::new, |cell| format!("; next fetch {}", cell.next_at))
    );
    // Typed and uploaded readings come when someone brings them.
    let silent = state.source.way == Way::Feed && now.since(last) > LONG_WITHOUT_FETCH;
    findings.tell(if silent || failed * 10 > all { State::Look } else { State::Well }, "source", &says);
}

/// Seconds in the largest unit of which there are two.
fn age(seconds: i64) -> String {
    let (of, unit) =
        [(DAY, "days"), (HOUR, "h")].into_iter().find(|(of, _)| seconds >= 2 * of).unwrap_or((MINUTE, "min"));
    format!("{} {unit}", seconds / of)
}
