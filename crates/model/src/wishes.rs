//! What someone who gets alerts wants of them: which kinds of which block, and
//! when they are not to be woken.

use std::collections::BTreeMap;

use chrono::{NaiveTime, TimeZone, Timelike};
use chrono_tz::Tz;
use serde_json::{Map, Value, json};

use crate::alert_kind::AlertKind;
use crate::input::Fields;
use crate::time::{self, Instant};

/// Most blocks that are set apart.
const MOST_BLOCKS: usize = 1_000;

/// Wishes of one contact. With none set everything comes at once.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wishes {
    /// Kinds that come; all when none is named. What takes an alert back comes to
    /// whoever had it.
    pub kinds: Option<Vec<AlertKind>>,
    /// Blocks with kinds of their own, by id; an empty list is none at all.
    pub blocks: BTreeMap<String, Vec<AlertKind>>,
    /// Hours in which mail waits.
    pub quiet: Option<Quiet>,
    /// Wall-clock time of the morning digest.
    pub digest_at: Option<NaiveTime>,
    /// Zone of that time.
    pub zone: Option<Tz>,
    /// Whether they stand in where mail to another could not be delivered.
    pub stand_in: bool,
}

/// Hours in which mail waits, on the wall clock of the block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quiet {
    /// From when on.
    pub from: NaiveTime,
    /// Until when; on the next day where that is no later than `from`.
    pub to: NaiveTime,
    /// Whether even `due`, `overrun`, `blind` and `withdrawn` wait. Never by default.
    pub also_urgent: bool,
}

impl Quiet {
    /// When the quiet hours in which a moment lies end; none when it lies in none.
    pub fn until(&self, at: Instant, zone: Tz) -> Option<Instant> {
        let now = at.utc().with_timezone(&zone).time();
        let over_night = self.from >= self.to;
        let inside =
            if over_night { now >= self.from || now < self.to } else { (self.from..self.to).contains(&now) };
        if !inside {
            return None;
        }
        let today = at.local_date(zone);
        let day = if over_night && now >= self.from { today.succ_opt()? } else { today };
        // A wall-clock hour that a change leaves out ends with the next one.
        (0..=3).find_map(|hours| {
            let wall = day.and_time(self.to) + chrono::Duration::hours(hours);
            zone.from_local_datetime(&wall).earliest().map(|end| Instant(end.timestamp()))
        })
    }
}

impl Wishes {
    /// Reads wishes; what is wrong is noted.
    pub fn from_fields(fields: &Fields<'_>) -> Wishes {
        let kinds = fields.has("kinds").then(|| kinds(fields, "kinds"));
        let blocks = fields.table("blocks").map(|blocks| of_blocks(fields, &blocks)).unwrap_or_default();
        let quiet = fields.table("quiet").and_then(|table| {
            let quiet = (wall(&table, "from"), wall(&table, "to"));
            let also_urgent = table.flag("also_urgent").unwrap_or_default();
            table.refuse_unknown();
            let (Some(from), Some(to)) = quiet else { return None };
            Some(Quiet { from, to, also_urgent })
        });
        let digest_at = fields.has("digest_at").then(|| wall(fields, "digest_at")).flatten();
        let zone = fields.text("time_zone").and_then(|name| {
            time::zone(&name).map_err(|error| fields.fault("time_zone", error.to_string())).ok()
        });
        if fields.has("digest_at") && !fields.has("time_zone") {
            fields.fault("time_zone", "is missing: the digest comes by its wall clock");
        }
        let stand_in = fields.flag("stand_in").unwrap_or_default();
        Wishes { kinds, blocks, quiet, digest_at, zone, stand_in }
    }

    /// The same as it is kept and shown; `from_fields` reads it back.
    pub fn document(&self) -> Value {
        let words =
            |kinds: &[AlertKind]| -> Vec<&'static str> { kinds.iter().map(|kind| kind.word()).collect() };
        let blocks: Map<String, Value> =
            self.blocks.iter().map(|(id, kinds)| (id.clone(), json!(words(kinds)))).collect();
        json!({
            "kinds": self.kinds.as_deref().map(words),
            "blocks": blocks,
            "quiet": self.quiet.map(|quiet| json!({
                "from": shown(quiet.from), "to": shown(quiet.to), "also_urgent": quiet.also_urgent,
            })),
            "digest_at": self.digest_at.map(shown),
            "time_zone": self.zone.map(|zone| zone.name()),
            "stand_in": self.stand_in,
        })
    }

    /// Whether a kind of a block's alerts is wanted.
    pub fn wants(&self, kind: AlertKind, block_id: &str) -> bool {
        match (self.blocks.get(block_id), &self.kinds) {
            (Some(kinds), _) | (None, Some(kinds)) => kinds.contains(&kind),
            (None, None) => true,
        }
    }
}

fn shown(at: NaiveTime) -> String {
    format!("{:02}:{:02}", at.hour(), at.minute())
}

/// A list of kinds; an empty one is none.
fn kinds(fields: &Fields<'_>, name: &'static str) -> Vec<AlertKind> {
    match fields.value(name) {
        Some(Value::Array(items)) if items.is_empty() => Vec::new(),
        _ => fields.texts(name).iter().filter_map(|word| kind(fields, name, word)).collect(),
    }
}

fn kind(fields: &Fields<'_>, name: &str, word: &str) -> Option<AlertKind> {
    let found = AlertKind::named(word);
    if found.is_none() {
        let known = AlertKind::WORDS.join(", ");
        fields.fault(name, format!("`{word}` is no kind of alert; expected one of: {known}"));
    }
    found
}

fn of_blocks(fields: &Fields<'_>, blocks: &Fields<'_>) -> BTreeMap<String, Vec<AlertKind>> {
    if blocks.raw().len() > MOST_BLOCKS {
        fields.fault("blocks", format!("names more than {MOST_BLOCKS} blocks"));
        return BTreeMap::new();
    }
    let mut found = BTreeMap::new();
    for (id, value) in blocks.raw() {
        let Value::Array(words) = value else {
            blocks.fault(id, "expected a list of kinds; an empty one is none at all");
            continue;
        };
        let words = words.iter().map(|word| word.as_str().unwrap_or_default());
        found.insert(id.clone(), words.filter_map(|word| kind(blocks, id, word)).collect());
    }
    found
}

fn wall(fields: &Fields<'_>, name: &'static str) -> Option<NaiveTime> {
    if !fields.require(name) {
        return None;
    }
    let text = fields.text(name)?;
    let read = NaiveTime::parse_from_str(text.trim(), "%H:%M").ok();
    if read.is_none() {
        fields.fault(name, format!("`{text}` is not a time of day; write it like 21:30"));
    }
    read
}

#[cfg(test)]
mod tests {
    use chrono_tz::America::New_York;

    use super::*;
    use crate::input;

    fn read(document: Value) -> Result<Wishes, String> {
        input::read(&document, |fields| Some(Wishes::from_fields(fields)))
            .map_err(|faults| faults.to_string())
    }

    #[test]
    fn wishes_are_read_back_from_what_is_kept() {
        let given = json!({
            "kinds": ["due", "heads-up"], "blocks": {"bench": [], "terrace": ["frost"]},
            "quiet": {"from": "21:00", "to": "06:30"}, "digest_at": "06:15", "time_zone": "America/New_York",
            "stand_in": true,
        });
        let wishes = read(given).unwrap();
        assert_eq!(read(wishes.document()).unwrap(), wishes);
        assert!(
            wishes.wants(AlertKind::Due, "orchard-end") && !wishes.wants(AlertKind::Frost, "orchard-end")
        );
        assert!(!wishes.wants(AlertKind::Due, "bench"));
        assert!(wishes.wants(AlertKind::Frost, "terrace") && !wishes.wants(AlertKind::Due, "terrace"));
        assert_eq!(read(Wishes::default().document()).unwrap(), Wishes::default());
    }

    #[test]
    fn what_is_wrong_is_named() {
        let wrong = read(json!({
            "kinds": ["dew"], "blocks": {"bench": "due"}, "quiet": {"from": "9 pm"}, "digest_at": "25:00",
        }));
        let said = wrong.unwrap_err();
        for words in ["`dew` is no kind", "a list of kinds", "`9 pm`", "/quiet/to", "`25:00`", "/time_zone"] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }

    #[test]
    fn quiet_hours_run_over_midnight_and_over_changes_of_the_clock() {
        let at = |text: &str| Instant::parse(text).unwrap();
        let wall = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0).unwrap();
        let quiet = Quiet { from: wall(21, 0), to: wall(6, 0), also_urgent: false };
        let ends = |text| quiet.until(at(text), New_York).map(|end| end.rfc3339_in(New_York));
        assert_eq!(ends("2026-05-01T22:00:00-04:00").as_deref(), Some("2026-05-02T06:00:00-04:00"));
        assert_eq!(ends("2026-05-02T05:59:59-04:00").as_deref(), Some("2026-05-02T06:00:00-04:00"));
        assert_eq!(ends("2026-05-02T06:00:00-04:00"), None);
        assert_eq!(ends("2026-05-01T20:59:59-04:00"), None);
        // The night in which the clock goes forward ends at 6 all the same.
        assert_eq!(ends("2026-03-07T23:00:00-05:00").as_deref(), Some("2026-03-08T06:00:00-04:00"));
        // An end within the hour that is left out comes with the next.
        let left_out = Quiet { to: wall(2, 30), ..quiet };
        let end = left_out.until(at("2026-03-08T01:00:00-05:00"), New_York).unwrap();
        assert_eq!(end.rfc3339_in(New_York), "2026-03-08T03:30:00-04:00");
        let noon = Quiet { from: wall(12, 0), to: wall(13, 0), also_urgent: true };
        assert!(noon.until(at("2026-05-01T12:30:00-04:00"), New_York).is_some());
        assert!(noon.until(at("2026-05-01T13:00:00-04:00"), New_York).is_none());
    }
}
