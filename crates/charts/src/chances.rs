//! Odds in words: early, likely and late apart, and in one sentence of frequencies.

use chrono_tz::Tz;
use model::odds::Odds;
use model::time::Instant;

/// What the three points are called.
pub(crate) const POINTS: [&str; 3] = ["Early (1 in 10)", "Likely (even odds)", "Late (1 in 10)"];

/// Early, likely and late, each with what it is called.
pub(crate) fn points(odds: &Odds, zone: Tz) -> [(&'static str, String); 3] {
    let [early, likely, late] = POINTS;
    [(early, odds.early), (likely, odds.likely), (late, odds.late)]
        .map(|(name, at)| (name, odds.when(at, zone)))
}

/// How many of the dots do not come within the forecast.
pub(crate) fn never(odds: &Odds) -> usize {
    odds.dots.iter().filter(|dot| dot.is_none()).count()
}

/// The middle between two dots, so that so many lie before it; none where the later one
/// does not come.
pub(crate) fn between_dots(odds: &Odds, before: usize) -> Option<Instant> {
    let dot = |place: usize| odds.dots.get(place).copied().flatten();
    let (left, right) = (dot(before.checked_sub(1)?)?, dot(before)?);
    Some(left.plus(right.since(left) / 2))
}

/// The window of eight in ten and the even odds as one sentence.
pub(crate) fn sentence(odds: &Odds, zone: Tz) -> String {
    let beyond = || odds.when(None, zone);
    let Some(early) = odds.early else {
        return format!("In more than 9 of 10 cases like this {}.", beyond());
    };
    let early = odds.when(Some(early), zone);
    let even = odds.likely.map(|likely| format!("; even odds by {}", odds.when(Some(likely), zone)));
    let even = even.unwrap_or_default();
    match odds.late.map(|late| odds.when(Some(late), zone)) {
        Some(late) if late == early => format!("In 8 of 10 cases like this about {early}."),
        Some(late) => format!("In 8 of 10 cases like this between {early} and {late}{even}."),
        None => {
            let share = (odds.never * 10.0).round().clamp(1.0, 10.0);
            format!("In 1 of 10 cases like this by {early}{even}; in {share:.0} of 10 {}.", beyond())
        }
    }
}
