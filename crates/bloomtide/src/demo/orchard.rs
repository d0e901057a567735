//! The invented orchard: farm, sites, blocks, plans, and what its people see
//! and do over the spring. Nothing here is real but the weather.

use anyhow::{Context, bail};
use model::time::{HOUR, Instant, MINUTE};
use serde_json::{Value, json};

/// Farm of the demo.
pub(super) const FARM: &str = "quernstone";
/// Bloom year of the demo.
pub(super) const YEAR: i32 = 2013;
/// Zone of the demo's wall clocks.
pub(super) const ZONE: chrono_tz::Tz = chrono_tz::America::New_York;

/// First hour of the play: 20 April 2013, local midnight.
pub(super) fn begin() -> Instant {
    local("2013-04-20T00:00:00-04:00")
}

/// Last hour of the play.
pub(super) fn end() -> Instant {
    local("2013-05-18T00:00:00-04:00")
}

fn local(text: &str) -> Instant {
    Instant::parse(text).expect("times of the demo are written well")
}

/// The farm, as the API takes it.
pub(super) fn farm() -> Value {
    json!({"id": FARM, "name": "Quernstone Orchard", "alert_emails": ["grower@quernstone.example"]})
}

/// Its sites and their feeds: path and document of each.
pub(super) fn places() -> Vec<(String, Value)> {
    let site = |id: &str, name: &str, latitude: f64, longitude: f64| {
        json!({
            "id": id, "farm_id": FARM, "name": name, "latitude": latitude, "longitude": longitude,
            "time_zone": ZONE.name(),
        })
    };
    let feed = |name: &str| json!({"name": name, "way": "feed", "provider": super::spring::PROVIDER});
    vec![
        ("sites".into(), site("inland", "Inland terraces", 40.6925, -74.1687)),
        ("sites".into(), site("shore", "Shore rows", 40.6413, -73.7781)),
        ("sites/inland/sources".into(), feed("EWR, recorded 2013")),
        ("sites/shore/sources".into(), feed("JFK, recorded 2013")),
    ]
}

/// One block with its plan and the counts that its people take.
pub(super) struct Block {
    /// Id, also in the API.
    pub(super) id: &'static str,
    /// Name.
    pub(super) name: &'static str,
    site: &'static str,
    cultivar: &'static str,
    curve: &'static str,
    target: i64,
    plan: &'static [(&'static str, f64)],
    counts: &'static [(&'static str, [i64; 5])],
    /// Flower buds on five trees.
    buds: [i64; 5],
    /// When it is decided to thin.
    decided: &'static str,
    /// Fruit on five sprayed trees, and on three left without a spray.
    set: ([i64; 5], [i64; 3]),
    bloom_end: &'static str,
    /// Another block whose sprays reach this one too: the same trees, reckoned
    /// on another curve.
    pub(super) follows: Option<&'static str>,
}

const ATS: &str = "ammonium-thiosulfate";
const SULFUR_OIL: &str = "lime-sulfur-oil";

const BENCH_COUNTS: &[(&str, [i64; 5])] = &[
    ("2013-04-26T10:00:00-04:00", [6, 11, 9, 4, 8]),
    ("2013-04-28T10:00:00-04:00", [41, 66, 58, 47, 73]),
    ("2013-04-29T10:00:00-04:00", [96, 131, 104, 122, 141]),
];

/// The blocks.
pub(super) const BLOCKS: [Block; 5] = [
    Block {
        id: "north-bench",
        name: "North Bench",
        site: "inland",
        cultivar: "Gala",
        curve: "reference",
        target: 115,
        plan: &[(ATS, 0.60), (ATS, 0.60)],
        counts: BENCH_COUNTS,
        buds: [214, 180, 246, 201, 233],
        decided: "2013-04-25T18:00:00-04:00",
        set: ([131, 118, 142, 109, 127], [298, 341, 265]),
        bloom_end: "2013-05-12T10:00:00-04:00",
        follows: None,
    },
    Block {
        id: "north-bench-cardinal",
        name: "North Bench (cardinal)",
        site: "inland",
        cultivar: "Gala",
        curve: "cardinal",
        target: 115,
        plan: &[(ATS, 0.60), (ATS, 0.60)],
        counts: BENCH_COUNTS,
        buds: [214, 180, 246, 201, 233],
        decided: "2013-04-25T18:00:00-04:00",
        set: ([131, 118, 142, 109, 127], [298, 341, 265]),
        bloom_end: "2013-05-12T10:00:00-04:00",
        follows: Some("north-bench"),
    },
    Block {
        id: "mill-terrace",
        name: "Mill Terrace",
        site: "inland",
        cultivar: "Fuji",
        curve: "reference",
        target: 90,
        plan: &[(SULFUR_OIL, 1.00), (SULFUR_OIL, 1.00)],
        counts: &[
            ("2013-04-27T16:00:00-04:00", [22, 31, 18, 40, 27]),
            ("2013-04-28T16:30:00-04:00", [88, 120, 97, 76, 109]),
        ],
        buds: [190, 155, 171, 208, 164],
        decided: "2013-04-25T18:00:00-04:00",
        set: ([96, 84, 103, 79, 91], [244, 201, 232]),
        bloom_end: "2013-05-11T11:00:00-04:00",
        follows: None,
    },
    Block {
        id: "shore-row",
        name: "Shore Row",
        site: "shore",
        cultivar: "Golden Delicious",
        curve: "reference",
        target: 130,
        plan: &[(ATS, 0.60), (ATS, 0.60)],
        counts: &[
            ("2013-04-29T09:00:00-04:00", [30, 22, 41, 36, 28]),
            ("2013-05-01T09:30:00-04:00", [118, 142, 101, 133, 126]),
            ("2013-05-02T09:00:00-04:00", [211, 240, 188, 226, 232]),
        ],
        buds: [240, 262, 215, 281, 229],
        decided: "2013-04-25T18:00:00-04:00",
        set: ([168, 181, 149, 175, 160], [352, 318, 371]),
        bloom_end: "2013-05-15T09:00:00-04:00",
        follows: None,
    },
    Block {
        id: "old-dam",
        name: "Old Dam",
        site: "shore",
        cultivar: "Fuji",
        curve: "cardinal",
        target: 100,
        plan: &[(SULFUR_OIL, 1.00), (ATS, 0.60)],
        counts: &[
            ("2013-04-30T15:00:00-04:00", [25, 33, 19, 28, 30]),
            ("2013-05-02T15:00:00-04:00", [128, 144, 119, 137, 150]),
        ],
        buds: [176, 230, 149, 201, 188],
        decided: "2013-05-01T19:00:00-04:00",
        set: ([104, 127, 99, 118, 110], [260, 243, 281]),
        bloom_end: "2013-05-14T15:00:00-04:00",
        follows: None,
    },
];

impl Block {
    /// The block as the API takes it.
    pub(super) fn document(&self) -> Value {
        json!({
            "id": self.id, "farm_id": FARM, "site_id": self.site, "name": self.name, "cultivar": self.cultivar,
            "curve": self.curve, "flowers_per_cluster": 5, "target_fruit_per_tree": self.target,
            "area": 1.2, "area_unit": "hectare",
        })
    }

    /// Its plan.
    pub(super) fn plan(&self) -> Value {
        let sprays: Vec<Value> =
            self.plan.iter().map(|(material, mark)| json!({"material": material, "mark": mark})).collect();
        json!({"sprays": sprays})
    }

    /// Material of the n-th planned spray, from 0.
    pub(super) fn material(&self, spray: usize) -> Option<&'static str> {
        self.plan.get(spray).map(|(material, _)| *material)
    }

    /// What its people log over the spring, sprays aside.
    pub(super) fn entries(&self) -> Vec<Doing> {
        let at = |kind: &str, at: &str, entry: Value| Doing::new(self.id, kind, local(at), entry);
        let mut entries = vec![
            at("stage", "2013-04-20T09:00:00-04:00", json!({"stage": "tight-cluster"})),
            at(
                "bud-count",
                "2013-04-20T09:30:00-04:00",
                json!({"buds_per_tree": self.buds, "branches_per_tree": 12}),
            ),
            at("stage", "2013-04-23T09:00:00-04:00", json!({"stage": "full-pink", "bbch": 59})),
            at(
                "damage-count",
                "2013-04-24T10:00:00-04:00",
                json!({"kings_alive": 57, "kings_dead": 3, "clusters_examined": 60, "laterals_alive": 231,
                    "laterals_dead": 9, "where": "low"}),
            ),
            at(
                "style-length",
                "2013-04-24T11:00:00-04:00",
                json!({"lengths_mm": [8.5, 9.0, 8.0, 9.5, 8.5, 8.0, 9.0, 8.5, 10.0, 8.5]}),
            ),
            at("pollination", "2013-04-26T21:00:00-04:00", json!({"hives_in": 6})),
            at(
                "decision",
                self.decided,
                json!({"thin": true, "reason": "enough kings, no frost damage to speak of"}),
            ),
            at("bloom-end", self.bloom_end, json!({})),
            at("set-count", "2013-05-17T10:00:00-04:00", json!({"fruit_per_tree": self.set.0})),
            at(
                "set-count",
                "2013-05-17T11:00:00-04:00",
                json!({"fruit_per_tree": self.set.1, "group": "unsprayed"}),
            ),
        ];
        for (at, open) in self.counts {
            entries.push(Doing::new(self.id, "open-count", local(at), json!({"open_per_tree": open})));
        }
        entries
    }
}

/// What the advisor has confirmed of one material; of the other nobody has.
pub(super) fn confirmation() -> Value {
    json!({"material": ATS, "jurisdiction": "New Jersey, USA", "by": "Hedda Brook", "on": "2013-04-02",
        "registered": true, "bloom_use": true, "note": "invented for this demo"})
}

/// Something that the orchard's people do and log.
#[derive(Debug, Clone)]
pub(super) struct Doing {
    /// The block.
    pub(super) block: &'static str,
    /// When it is logged.
    pub(super) at: Instant,
    /// The entry as it is sent.
    pub(super) entry: Value,
}

impl Doing {
    fn new(block: &'static str, kind: &str, at: Instant, mut entry: Value) -> Doing {
        entry["id"] = json!(format!("{kind}-{}", at.0));
        entry["kind"] = json!(kind);
        entry["at"] = json!(at);
        Doing { block, at, entry }
    }

    /// A spray that goes on in the next slot after `heard`, logged when it is
    /// finished.
    pub(super) fn spray(block: &'static str, material: &str, heard: Instant) -> Doing {
        let begin = next_slot(heard);
        let finish = begin.plus(80 * MINUTE);
        let entry = json!({
            "material": material, "finished_at": finish, "reentry_interval": "48 h", "area": 1.2,
            "area_unit": "ha", "water_volume": "1000 L/ha", "applicator": "Ole Tamm", "equipment": "Row sprayer",
            "wind": 1.8, "wind_unit": "m/s", "wind_source": "own mast", "reason": "bloom thinning",
        });
        let mut doing = Doing::new(block, "spray", begin, entry);
        doing.at = finish;
        doing
    }
}

/// Early morning or evening, whichever comes first after two hours' notice.
fn next_slot(heard: Instant) -> Instant {
    let ready = heard.plus(2 * HOUR);
    let midnight = local("2013-04-01T00:00:00-04:00");
    let day = ready.since(midnight).div_euclid(24 * HOUR);
    let slot = |day: i64, minutes: i64| midnight.plus(day * 24 * HOUR + minutes * MINUTE);
    [slot(day, 6 * 60 + 30), slot(day, 19 * 60), slot(day + 1, 6 * 60 + 30)]
        .into_iter()
        .find(|slot| *slot >= ready)
        .unwrap_or(ready)
}

/// Reads `BLOCK/NUMBER` of `--leave-out`.
pub(super) fn spray_named(text: &str) -> anyhow::Result<(&'static str, usize)> {
    let (name, number) =
        text.rsplit_once('/').context("--leave-out: expected BLOCK/NUMBER, as \"North Bench/1\"")?;
    let Some(block) = BLOCKS.iter().find(|block| block.name == name) else {
        let names: Vec<&str> = BLOCKS.iter().map(|block| block.name).collect();
        bail!("--leave-out: there is no block `{name}`; there are {}", names.join(", "));
    };
    let number: usize =
        number.parse().ok().filter(|number| *number > 0).context("--leave-out: the number counts from 1")?;
    Ok((block.id, number))
}
