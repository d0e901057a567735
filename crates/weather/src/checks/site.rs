//! All sources of a site at once: each is checked beside the others, and what
//! was found on the way of a season is told in words.

use model::season::{Note, Season};
use model::series::{Flag, JOINED, Reading};
use model::time::Instant;

use super::{Checked, Fault, Thresholds, check};

/// One source's readings, which take their flags.
#[derive(Debug)]
pub struct Source<'a> {
    /// Name by which people know it.
    pub name: &'a str,
    /// Whether it is checked; its readings stand in for others' checks either way.
    pub checked: bool,
    /// Its readings; afterwards in order of time.
    pub readings: &'a mut Vec<Reading>,
}

impl<'a> From<(&'a str, bool, &'a mut Vec<Reading>)> for Source<'a> {
    fn from((name, checked, readings): (&'a str, bool, &'a mut Vec<Reading>)) -> Source<'a> {
        Source { name, checked, readings }
    }
}

/// What was found in a site's readings, source by source.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Findings {
    sources: Vec<Found>,
}

#[derive(Debug, Clone, PartialEq)]
struct Found {
    name: String,
    readings: Vec<Checked>,
}

/// Code of a note on readings that were not used.
pub const FAILED: &str = "readings-failed";
/// Code of a note on doubtful readings that were used.
pub const SUSPECT: &str = "readings-suspect";

/// Readings that a note names one by one; the others are counted.
const NAMED: usize = 3;

/// Checks each source beside the others, the most trusted first, and sets the
/// flags of its readings.
pub fn mark<'a, S: Into<Source<'a>>>(
    sources: impl IntoIterator<Item = S>,
    now: Instant,
    thresholds: &Thresholds,
) -> Findings {
    let mut sources: Vec<Source<'_>> = sources.into_iter().map(Into::into).collect();
    for source in &mut sources {
        source.readings.sort_by_key(|reading| reading.at);
    }
    let found: Vec<Found> = (0..sources.len())
        .map(|place| {
            let source = &sources[place];
            let beside = sources.iter().enumerate().filter(|(other, _)| *other != place);
            let others: Vec<&[Reading]> = beside
                .map(|(_, other)| &other.readings[..known_by(other.readings, now)])
                .filter(|readings| !readings.is_empty())
                .collect();
            let as_it_is = |reading: &Reading| Checked { reading: *reading, faults: Vec::new() };
            let readings = if source.checked {
                let (known, ahead) = source.readings.split_at(known_by(source.readings, now));
                let mut readings = check(known, &others, now, thresholds);
                readings.extend(ahead.iter().map(as_it_is));
                readings
            } else {
                source.readings.iter().map(as_it_is).collect()
            };
            Found { name: source.name.to_owned(), readings }
        })
        .collect();
    for (source, found) in sources.iter_mut().zip(&found) {
        source.readings.clear();
        source.readings.extend(found.readings.iter().map(|checked| checked.reading));
    }
    Findings { sources: found }
}

/// How many of the readings, which are in order of time, are there at `now`: what
/// comes after says nothing yet of those before.
fn known_by(readings: &[Reading], now: Instant) -> usize {
    readings.partition_point(|reading| reading.at <= now)
}

impl Findings {
    /// Why a reading of the source at `place` (in the order given) is suspect or
    /// failed; empty when nothing was found.
    pub fn faults(&self, place: usize, at: Instant) -> &[Fault] {
        let Some(found) = self.sources.get(place) else { return &[] };
        let first = found.readings.partition_point(|checked| checked.reading.at < at);
        let there = found.readings[first..].iter().take_while(|checked| checked.reading.at == at);
        there.map(|checked| checked.faults.as_slice()).find(|faults| !faults.is_empty()).unwrap_or_default()
    }

    /// Notes for a season on what was found from `from` to its end: readings that
    /// were not used, and doubtful ones that were. A source counts where no more
    /// trusted one has a usable reading within three hours.
    pub fn notes(&self, from: Instant, season: &Season) -> Vec<Note> {
        let ended = season.legs.last().and_then(|leg| leg.ended_at);
        let Some(to) = ended.or(season.as_of) else { return Vec::new() };
        let mut notes = Vec::new();
        for place in 0..self.sources.len() {
            let (better, source) = (&self.sources[..place], &self.sources[place]);
            for (flag, code) in [(Flag::Fail, FAILED), (Flag::Suspect, SUSPECT)] {
                let found: Vec<&Checked> = source
                    .readings
                    .iter()
                    .filter(|checked| checked.reading.flag == flag)
                    .filter(|Checked { reading, .. }| from <= reading.at && reading.at <= to)
                    .filter(|checked| !better.iter().any(|found| found.knows(checked.reading.at)))
                    .collect();
                if !found.is_empty() {
                    notes.push(Note::new(code, sentence(&source.name, flag, &found)));
                }
            }
        }
        notes
    }
}

impl Found {
    /// Whether it has a usable reading within three hours of a moment.
    fn knows(&self, at: Instant) -> bool {
        let first = self.readings.partition_point(|checked| checked.reading.at < at.plus(-JOINED));
        let near = self.readings[first..].iter().take_while(|checked| checked.reading.at <= at.plus(JOINED));
        near.into_iter().any(|checked| checked.reading.flag.usable())
    }
}

fn sentence(name: &str, flag: Flag, found: &[&Checked]) -> String {
    let count = found.len();
    let (readings, were) = if count == 1 { ("reading", "was") } else { ("readings", "were") };
    let begin = match flag {
        Flag::Fail => format!("{count} {readings} of {name} failed the checks and {were} not used"),
        _ => format!("{count} {readings} of {name} looked doubtful and {were} used all the same"),
    };
    let named: Vec<String> = found.iter().take(NAMED).map(|checked| named(checked)).collect();
    let more = if count > NAMED { format!(", and {} more", count - NAMED) } else { String::new() };
    format!("{begin}: {}{more}.", named.join("; "))
}

fn named(Checked { reading, faults }: &Checked) -> String {
    let why: Vec<String> =
        faults.iter().map(|fault| format!("{}: {}", fault.check.word(), fault.detail)).collect();
    let why = if why.is_empty() { "its provider says so".to_owned() } else { why.join(", ") };
    format!("{:.1} °C at {} ({why})", reading.celsius, reading.at)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use model::catalogue::Catalogue;
    use model::field_log::FieldLog;
    use model::growth::{Course, Growth};
    use model::plan::Plan;
    use model::series::Series;
    use model::time::HOUR;

    use super::*;

    const BEGIN: Instant = Instant(1_367_107_200);

    fn hour(hour: i64) -> Instant {
        BEGIN.plus(hour * HOUR)
    }

    fn mild(hours: i64) -> Vec<Reading> {
        // Warmer from day to day: weather never repeats itself.
        let celsius =
            |n: i64| 12.0 + n as f64 / 50.0 + 4.0 * ((n % 24) as f64 / 24.0 * std::f64::consts::TAU).sin();
        (0..hours).map(|n| Reading::instant(hour(n), celsius(n))).collect()
    }

    fn season(as_of: Instant) -> Season {
        let block = serde_json::json!({"name": "Bench", "cultivar": "Gala", "target_fruit_per_tree": 100,
            "curve": {"form": "nodes", "unit": "fraction-per-day", "nodes": [[4, 0], [20, 0.5]],
                "source": "for tests", "status": "constructed"}});
        let plan = Plan::assemble(Some(2013), chrono_tz::UTC, &block, None, &Catalogue::default()).unwrap();
        let read = vec![Reading::instant(as_of, 12.0)];
        let course = Arc::new(Course::new(Series::join(&[read], None, as_of)));
        let growth = Growth::new(course, plan.block.curve.clone());
        model::season::reckon(&plan, &FieldLog::default(), &growth, as_of)
    }

    fn marked(first: &mut Vec<Reading>, checked: bool, second: &mut Vec<Reading>) -> Findings {
        let sources = vec![
            Source { name: "ridge mast", checked, readings: first },
            Source { name: "valley mast", checked: true, readings: second },
        ];
        mark(sources, hour(1_000), &Thresholds::default())
    }

    #[test]
    fn a_spike_fails_and_is_told_by_name() {
        let (mut first, mut second) = (mild(240), mild(240));
        first[100].celsius = -11.0;
        let found = marked(&mut first, true, &mut second);
        assert_eq!(first[100].flag, Flag::Fail);
        assert!(second.iter().all(|reading| reading.flag.usable()));
        assert!(!found.faults(0, hour(100)).is_empty() && found.faults(1, hour(100)).is_empty());
        let notes = found.notes(hour(90), &season(hour(239)));
        let [note] = &notes[..] else { panic!("{notes:?}") };
        assert_eq!(note.code, FAILED);
        assert!(
            note.text.starts_with("1 reading of ridge mast failed the checks and was not used: -11.0 °C at")
        );
        assert!(found.notes(hour(101), &season(hour(239))).is_empty(), "it lies before");
    }

    #[test]
    fn what_a_less_trusted_source_got_wrong_is_told_only_where_it_stands_in() {
        let (mut first, mut second) = (mild(240), mild(240));
        second[100].celsius = -11.0;
        let found = marked(&mut first, true, &mut second);
        assert_eq!(second[100].flag, Flag::Fail);
        assert!(found.notes(hour(0), &season(hour(239))).is_empty());
        first.retain(|reading| (reading.at.since(hour(100))).abs() > 10 * HOUR);
        let found = marked(&mut first, true, &mut second);
        assert_eq!(found.notes(hour(0), &season(hour(239))).len(), 1);
    }

    #[test]
    fn a_source_that_is_not_checked_is_taken_as_it_is() {
        let (mut first, mut second) = (mild(240), mild(240));
        first[100].celsius = -11.0;
        let before = first.clone();
        assert!(marked(&mut first, false, &mut second).notes(hour(0), &season(hour(239))).is_empty());
        assert_eq!(first, before);
    }
}
