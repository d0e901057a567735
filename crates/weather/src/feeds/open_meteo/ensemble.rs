//! The members of an ensemble: the same forecast made many times from slightly
//! different begins, whose spread tells how sure it is.

use std::collections::{BTreeMap, HashMap};
use std::fmt;

use model::series::Reading;
use model::time::Instant;
use serde::Deserialize;
use serde::de::{Deserializer, Error, IgnoredAny, MapAccess, Visitor};

use super::answer::{Location, misplaced, places, readings, times};
use super::{MEMBERS_AGAIN, MEMBERS_EVERY, MOST_CELLS, OpenMeteo, PROVIDER};
use crate::feeds::client::past_until;
use crate::feeds::fault::words;
use crate::feeds::{Cause, CellAnswer, CellRequest, FeedError, Retry, check};

/// What the provider calls the temperature; that of a member has its number
/// behind: `temperature_2m_member01`. The bare one is the control's.
const TEMPERATURE: &str = "temperature_2m";

/// The members of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Members {
    /// The name the cell was asked under.
    pub cell: String,
    /// When they were fetched; the provider does not say when they were made.
    pub issued_at: Instant,
    /// The control first, then the members by their number: each its hours ahead
    /// of the fetch, by time, not yet checked. One that tells nothing is left
    /// out.
    pub members: Vec<Vec<Reading>>,
}

impl OpenMeteo {
    /// Asks for the ensemble of some cells, at most [`MOST_CELLS`], as many days
    /// ahead as the settings say. Answers come in the order of `cells`, one each.
    /// `now` is the time of the fetch.
    ///
    /// The provider counts each member against its limits as it does a variable:
    /// a cell with the 40 members of the default model counts as four requests.
    /// It interpolates steps of three and six hours to hourly ones, so that
    /// extremes of the day are smoothed.
    ///
    /// # Errors
    /// As with [`crate::feeds::Feed::fetch`].
    pub async fn members(&self, cells: &[CellRequest], now: Instant) -> Result<Vec<Members>, FeedError> {
        let failed = |cause| FeedError::new(PROVIDER, cause, now);
        check::askable(cells, MOST_CELLS).map_err(failed)?;
        let mut answers = Vec::with_capacity(cells.len());
        for part in super::parts(cells) {
            let (numbers, asked): (Vec<usize>, Vec<&CellRequest>) = part.into_iter().unzip();
            if asked.is_empty() {
                continue;
            }
            let mut query = super::places(&asked);
            query.push(("hourly", TEMPERATURE.to_owned()));
            query.push(("models", self.models.clone()));
            query.push(("forecast_days", self.forecast_days.to_string()));
            let (body, given_at) = self.get(&self.ensemble_url, &query, asked.len(), now).await?;
            let then = past_until(given_at, now);
            let members = read(&body, &asked, self.window(0, then), then).map_err(failed)?;
            answers.extend(std::iter::zip(numbers, members));
        }
        Ok(super::in_order(answers))
    }
}

/// Before the moment at which members are to be asked for again, in a cell's memory.
const NEXT: &str = "members after ";

impl OpenMeteo {
    /// Whether the members of a cell are due.
    pub(super) fn wants_members(&self, cell: &CellRequest, now: Instant) -> bool {
        let next = cell.memory.as_deref().and_then(|memory| memory.strip_prefix(NEXT)?.parse().ok());
        self.with_members && next.is_none_or(|next: i64| next <= now.0)
    }

    /// Asks for the members of the cells that are due. What else was fetched stands
    /// when they cannot be had.
    pub(super) async fn add_members(&self, cells: &[CellRequest], answers: &mut [CellAnswer], now: Instant) {
        let due: Vec<CellRequest> =
            cells.iter().filter(|cell| self.wants_members(cell, now)).cloned().collect();
        if due.is_empty() {
            return;
        }
        let fetched = self.members(&due, now).await;
        let next = match &fetched {
            Ok(_) => now.plus(MEMBERS_EVERY),
            Err(FeedError { retry: Retry::At(at), .. }) => now.plus(MEMBERS_AGAIN).max(*at),
            Err(FeedError { retry: Retry::Never, .. }) => now.plus(MEMBERS_EVERY),
        };
        let mut members: HashMap<String, Vec<Vec<Reading>>> = HashMap::new();
        let lacks = match fetched {
            Ok(all) => {
                members.extend(all.into_iter().map(|one| (one.cell, one.members)));
                None
            }
            Err(error) => Some(format!("members of the ensemble: {error}")),
        };
        let asked = |cell: &str| due.iter().any(|due| due.cell == cell);
        for answer in answers.iter_mut().filter(|answer| asked(&answer.cell)) {
            answer.members = members.remove(&answer.cell);
            answer.lacks.clone_from(&lacks);
            answer.memory = Some(format!("{NEXT}{}", next.0));
        }
    }
}

/// The times and the temperatures of each member, by its name.
struct Hourly {
    time: Vec<i64>,
    members: BTreeMap<String, Vec<Option<f64>>>,
}

/// Whether the temperature of that name is the control's or a member's. Names
/// sort by the number, which always has its two digits.
fn is_member(name: &str) -> bool {
    name.strip_prefix(TEMPERATURE).is_some_and(|rest| {
        rest.is_empty()
            || rest
                .strip_prefix("_member")
                .is_some_and(|number| number.len() == 2 && number.bytes().all(|sign| sign.is_ascii_digit()))
    })
}

impl<'de> Deserialize<'de> for Hourly {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Named;
        impl<'de> Visitor<'de> for Named {
            type Value = Hourly;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("times and temperatures by their names")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Hourly, A::Error> {
                let mut time = None;
                let mut members = BTreeMap::new();
                while let Some(name) = map.next_key::<String>()? {
                    let stood = if name == "time" {
                        time.replace(map.next_value()?).is_some()
                    } else if is_member(&name) {
                        members.insert(name.clone(), map.next_value()?).is_some()
                    } else {
                        map.next_value::<IgnoredAny>()?;
                        false
                    };
                    if stood {
                        return Err(A::Error::custom(format!("`{name}` stands twice")));
                    }
                }
                Ok(Hourly { time: time.ok_or_else(|| A::Error::missing_field("time"))?, members })
            }
        }
        from.deserialize_map(Named)
    }
}

/// Reads an answer of status 200 for the hours `within`.
pub(super) fn read(
    body: &[u8],
    cells: &[&CellRequest],
    within: (Instant, Instant),
    now: Instant,
) -> Result<Vec<Members>, Cause> {
    std::iter::zip(places(body, cells.len())?, cells)
        .enumerate()
        .map(|(n, (place, cell))| {
            let members = members(place, within, now).map_err(misplaced(n))?;
            Ok(Members { cell: cell.cell.clone(), issued_at: now, members })
        })
        .collect()
}

fn members(
    place: Location<HashMap<String, String>, Hourly>,
    within: (Instant, Instant),
    now: Instant,
) -> Result<Vec<Vec<Reading>>, String> {
    let Location { hourly_units: units, hourly, .. } = place;
    let unit = |name: &str| units.get(name).map_or("", String::as_str);
    if unit("time") != "unixtime" {
        return Err(format!("times in `{}`; expected unixtime", words(unit("time"))));
    }
    if hourly.members.is_empty() {
        return Err("no member of an ensemble".to_owned());
    }
    let times = times(&hourly.time, within)?;
    let mut members = Vec::with_capacity(hourly.members.len());
    for (name, celsius) in &hourly.members {
        check::unit(name, Some(unit(name)), "°C")?;
        let mut hours = readings(&times, celsius, &format!("values of {name}"))?;
        hours.retain(|hour| hour.at > now);
        if !hours.is_empty() {
            members.push(hours);
        }
    }
    Ok(members)
}
