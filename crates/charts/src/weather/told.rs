//! The sources in words.

use model::series::Quality;
use model::time::Instant;

use super::{Lane, Seen, Sources, TEMPERATURE_USED};
use crate::look;

/// Readings of one source that follow each other with the same finding.
struct Found<'a> {
    from: Instant,
    to: Instant,
    usable: bool,
    flag: Option<&'a str>,
    n: usize,
}

fn within<'a>(sources: &Sources<'_>, lane: &Lane<'a>) -> Vec<Seen<'a>> {
    let shown = lane.readings.iter().filter(|seen| sources.from <= seen.at && seen.at <= sources.to);
    shown.copied().collect()
}

fn found<'a>(seen: &[Seen<'a>]) -> Vec<Found<'a>> {
    let mut runs: Vec<Found<'a>> = Vec::new();
    let mut plain = true;
    for seen in seen {
        if seen.usable && seen.flag.is_none() {
            plain = true;
            continue;
        }
        match runs.last_mut() {
            Some(run) if !plain && run.usable == seen.usable && run.flag == seen.flag => {
                run.to = seen.at;
                run.n += 1;
            }
            _ => {
                let (from, to) = (seen.at, seen.at);
                runs.push(Found { from, to, usable: seen.usable, flag: seen.flag, n: 1 });
            }
        }
        plain = false;
    }
    runs
}

/// How much of a lane can be used.
fn summed(seen: &[Seen<'_>]) -> String {
    let count = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
    let (all, used) = (seen.len(), seen.iter().filter(|seen| seen.usable).count());
    let doubted = seen.iter().filter(|seen| seen.usable && seen.flag.is_some()).count();
    let mut said = count(all, "reading");
    if used < all {
        said.push_str(&format!(", {} of them not used", all - used));
    }
    if doubted > 0 {
        said.push_str(&format!(", {doubted} doubtful but used"));
    }
    said
}

fn gaps<'a>(sources: &'a Sources<'_>, lane: &'a Lane<'_>) -> impl Iterator<Item = (Instant, Instant)> + 'a {
    let cut = |(from, to): &(Instant, Instant)| ((*from).max(sources.from), (*to).min(sources.to));
    lane.gaps.iter().map(cut).filter(|(from, to)| from < to)
}

pub(super) fn description(sources: &Sources<'_>) -> String {
    let zone = sources.zone;
    let mut said = format!("From {} to {}.", sources.from.spoken(zone), sources.to.spoken(zone));
    for lane in sources.lanes {
        let missing: i64 = gaps(sources, lane).map(|(from, to)| to.since(from)).sum();
        said.push_str(&format!(" {}: {}", lane.name, summed(&within(sources, lane))));
        if missing > 0 {
            said.push_str(&format!(", {} h without", hours(missing)));
        }
        said.push('.');
    }
    let of = |wanted| -> i64 {
        let stretches = sources.stretches().into_iter().filter(|(.., quality)| *quality == wanted);
        stretches.map(|(from, to, _)| to.since(from)).sum()
    };
    let (filled, unknown) = (of(Quality::Filled), of(Quality::Unknown));
    said.push_str(&format!(
        " Of the temperature used {} h are joined or from another source, {} h unknown.",
        hours(filled),
        hours(unknown)
    ));
    said
}

fn hours(seconds: i64) -> String {
    format!("{:.0}", seconds as f64 / model::time::HOUR as f64)
}

pub(super) fn table(sources: &Sources<'_>) -> Vec<Vec<String>> {
    let zone = sources.zone;
    let mut rows = vec![["Source", "From", "To", "What"].map(str::to_owned).to_vec()];
    let mut row = |name: &str, from: Option<Instant>, to: Option<Instant>, what: String| {
        let told = |at: Option<Instant>| at.map_or_else(|| "-".to_owned(), |at| at.spoken(zone));
        rows.push(vec![name.to_owned(), told(from), told(to), what]);
    };
    for lane in sources.lanes {
        let seen = within(sources, lane);
        row(lane.name, seen.first().map(|seen| seen.at), seen.last().map(|seen| seen.at), summed(&seen));
        for (from, to) in gaps(sources, lane) {
            let what = format!("no usable readings for {} h", hours(to.since(from)));
            row(lane.name, Some(from), Some(to), what);
        }
        for found in found(&seen) {
            let used = if found.usable { "doubtful but used" } else { "not used" };
            let times = if found.n > 1 { format!(", {} readings", found.n) } else { String::new() };
            let what = format!("{}: {used}{times}", found.flag.unwrap_or("refused"));
            row(lane.name, Some(found.from), Some(found.to), what);
        }
    }
    for (from, to, quality) in sources.stretches() {
        if quality != Quality::Observed {
            row(TEMPERATURE_USED, Some(from), Some(to), look::quality(quality).to_owned());
        }
    }
    rows
}
