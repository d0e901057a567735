//! The forms of the page to write down on: what each asks for, in which form it is
//! typed. Template and script build them from here, so both send the same.

use model::stage::Stage;
use model::wood::Wood;

/// How a field is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum As {
    /// Whole numbers, tree by tree, to be counted with the thumb.
    Counts,
    /// Whole numbers in a row.
    Wholes,
    /// Numbers with a point or comma.
    Decimals,
    /// One whole number.
    Whole,
    /// One number with a point or comma.
    Decimal,
    /// Per cent, kept as a share.
    Percent,
    /// One line.
    Text,
    /// Several lines.
    Long,
    /// A date.
    Date,
    /// A moment of the block's wall clock.
    Moment,
    /// A material by its id or name.
    Material,
    /// One of these words.
    One(&'static [&'static str]),
    /// True or false; the keys of the words for both.
    Either(&'static str, &'static str),
    /// An entry that this one is about.
    Entry,
}

impl As {
    /// The word by which the script knows it.
    pub(crate) fn word(self) -> &'static str {
        match self {
            As::Counts => "counts",
            As::Wholes => "wholes",
            As::Decimals => "decimals",
            As::Whole => "whole",
            As::Decimal => "decimal",
            As::Percent => "percent",
            As::Text | As::Material | As::Date | As::One(_) | As::Entry => "text",
            As::Long => "long",
            As::Moment => "moment",
            As::Either(..) => "either",
        }
    }
}

/// A field of an entry.
#[derive(Debug)]
pub(crate) struct Field {
    /// Its name in the entry.
    pub(crate) name: &'static str,
    /// The key of its label; a record's fields are labelled by the model.
    pub(crate) label: Option<&'static str>,
    pub(crate) typed: As,
    pub(crate) needed: bool,
    /// Whether it stands among those that are opened when wanted.
    pub(crate) more: bool,
}

/// A form: one kind of entry, or one step of it.
#[derive(Debug)]
pub(crate) struct Form {
    /// Its name in addresses.
    pub(crate) what: &'static str,
    /// The kind of entry that it writes.
    pub(crate) kind: &'static str,
    /// The key of its name.
    pub(crate) name: &'static str,
    /// The key of a sentence that leads it in.
    pub(crate) lead: &'static str,
    /// Whether it tells of work in the block, which nobody is asked for before re-entry.
    pub(crate) field_work: bool,
    pub(crate) fields: &'static [Field],
}

const fn needed(name: &'static str, label: &'static str, typed: As) -> Field {
    Field { name, label: Some(label), typed, needed: true, more: false }
}

const fn wanted(name: &'static str, label: &'static str, typed: As) -> Field {
    Field { name, label: Some(label), typed, needed: false, more: false }
}

const fn more(name: &'static str, label: &'static str, typed: As) -> Field {
    Field { name, label: Some(label), typed, needed: false, more: true }
}

/// A field of a spray's record.
const fn recorded(name: &'static str) -> Field {
    Field { name, label: None, typed: As::Text, needed: false, more: true }
}

/// A finish and what belongs on record, after what names the spray.
macro_rules! record_after {
    ($named:expr) => {
        &[
            $named,
            needed("finished_at", "field.finished_at", As::Moment),
            wanted("reentry_hours", "field.reentry_hours", As::Decimal),
            wanted("took", "field.took", As::Either("field.took_yes", "field.took_no")),
            wanted("share_of_block", "field.share_of_block", As::Percent),
            wanted("thins", "field.thins", As::Either("field.thins_yes", "field.thins_no")),
            recorded("product"),
            recorded("registration_number"),
            recorded("country"),
            recorded("active_ingredient"),
            recorded("total_amount"),
            recorded("rate"),
            recorded("rate_basis"),
            recorded("water_volume"),
            recorded("area"),
            recorded("crop"),
            recorded("bbch"),
            recorded("applicator"),
            recorded("certificate"),
            recorded("equipment"),
            recorded("wind"),
            recorded("wind_source"),
            recorded("temperature"),
            recorded("temperature_source"),
            recorded("bee_notice"),
            recorded("reason"),
            recorded("note"),
        ]
    };
}

/// The form of a spray that is over, with its whole record: the one that corrects it.
pub(crate) const SPRAY_RECORD: &str = "spray-record";

const WOOD: Field = more("wood", "field.wood", As::One(&Wood::WORDS));
const NOTE: Field = wanted("note", "field.note", As::Long);

/// All forms, those of the days of bloom first.
pub(crate) const ALL: &[Form] = &[
    Form {
        what: "open-count",
        kind: "open-count",
        name: "form.open_count",
        lead: "form.open_count_lead",
        field_work: true,
        fields: &[
            needed("open_per_tree", "field.open_per_tree", As::Counts),
            more("live_only", "field.live_only", As::Either("field.live_only_yes", "field.live_only_no")),
            more("tree_class", "field.tree_class", As::One(&["on", "off"])),
            WOOD,
        ],
    },
    Form {
        what: "spray",
        kind: "spray",
        name: "form.spray",
        lead: "form.spray_lead",
        field_work: false,
        fields: &[
            needed("material", "field.material", As::Material),
            wanted("reentry_hours", "field.reentry_hours", As::Decimal),
        ],
    },
    Form {
        what: "spray-rest",
        kind: "spray",
        name: "form.spray_rest",
        lead: "form.spray_rest_lead",
        field_work: false,
        fields: record_after![needed("of", "field.draft", As::Entry)],
    },
    Form {
        what: SPRAY_RECORD,
        kind: "spray",
        name: "form.spray_record",
        lead: "form.spray_record_lead",
        field_work: false,
        fields: record_after![needed("material", "field.material", As::Material)],
    },
    Form {
        what: "damage-count",
        kind: "damage-count",
        name: "form.damage_count",
        lead: "form.damage_count_lead",
        field_work: true,
        fields: &[
            needed("kings_alive", "field.kings_alive", As::Whole),
            needed("kings_dead", "field.kings_dead", As::Whole),
            wanted("laterals_alive", "field.laterals_alive", As::Whole),
            wanted("laterals_dead", "field.laterals_dead", As::Whole),
            wanted("where", "field.where", As::One(&["low", "mid", "high"])),
            more("clusters_per_tree", "field.clusters_per_tree", As::Wholes),
            more("after_night", "field.after_night", As::Date),
            WOOD,
        ],
    },
    Form {
        what: "decision",
        kind: "decision",
        name: "form.decision",
        lead: "form.decision_lead",
        field_work: false,
        fields: &[
            needed("thin", "field.thin", As::Either("field.thin_yes", "field.thin_no")),
            wanted("reason", "field.reason", As::Long),
        ],
    },
    Form {
        what: "bloom-start",
        kind: "bloom-start",
        name: "form.bloom_start",
        lead: "form.bloom_start_lead",
        field_work: true,
        fields: &[],
    },
    Form {
        what: "bloom-end",
        kind: "bloom-end",
        name: "form.bloom_end",
        lead: "form.bloom_end_lead",
        field_work: true,
        fields: &[],
    },
    Form {
        what: "stage",
        kind: "stage",
        name: "form.stage",
        lead: "form.stage_lead",
        field_work: true,
        fields: &[
            wanted("stage", "field.stage", As::One(&Stage::WORDS)),
            wanted("bbch", "field.bbch", As::Whole),
            wanted("share_open", "field.share_open", As::Percent),
        ],
    },
    Form {
        what: "bud-count",
        kind: "bud-count",
        name: "form.bud_count",
        lead: "form.bud_count_lead",
        field_work: true,
        fields: &[
            needed("buds_per_tree", "field.buds_per_tree", As::Counts),
            more("branches_per_tree", "field.branches_per_tree", As::Decimal),
            WOOD,
        ],
    },
    Form {
        what: "flowers-per-cluster",
        kind: "flowers-per-cluster",
        name: "form.flowers_per_cluster",
        lead: "form.flowers_per_cluster_lead",
        field_work: true,
        fields: &[needed("flowers", "field.flowers", As::Counts)],
    },
    Form {
        what: "style-length",
        kind: "style-length",
        name: "form.style_length",
        lead: "form.style_length_lead",
        field_work: true,
        fields: &[needed("lengths_mm", "field.lengths_mm", As::Decimals)],
    },
    Form {
        what: "set-count",
        kind: "set-count",
        name: "form.set_count",
        lead: "form.set_count_lead",
        field_work: true,
        fields: &[
            needed("fruit_per_tree", "field.fruit_per_tree", As::Counts),
            wanted("group", "field.group", As::One(&["treated", "unsprayed"])),
        ],
    },
    Form {
        what: "return-bloom",
        kind: "return-bloom",
        name: "form.return_bloom",
        lead: "form.return_bloom_lead",
        field_work: true,
        fields: &[needed("share_of_buds", "field.share_of_buds", As::Percent)],
    },
    Form {
        what: "other-thinning",
        kind: "other-thinning",
        name: "form.other_thinning",
        lead: "form.other_thinning_lead",
        field_work: true,
        fields: &[wanted("method", "field.method", As::One(&["hand", "string"])), NOTE],
    },
    Form {
        what: "pollination",
        kind: "pollination",
        name: "form.pollination",
        lead: "form.pollination_lead",
        field_work: false,
        fields: &[
            wanted("hives_in", "field.hives_in", As::Whole),
            wanted("hives_out", "field.hives_out", As::Whole),
            NOTE,
        ],
    },
    Form {
        what: "note",
        kind: "note",
        name: "form.note",
        lead: "form.note_lead",
        field_work: false,
        fields: &[needed("text", "field.text", As::Long)],
    },
    Form {
        what: "withdrawal",
        kind: "withdrawal",
        name: "form.withdrawal",
        lead: "form.withdrawal_lead",
        field_work: false,
        fields: &[needed("of", "field.of", As::Entry), wanted("reason", "field.reason", As::Long)],
    },
];

/// The form of that name.
pub(crate) fn named(what: &str) -> Option<&'static Form> {
    ALL.iter().find(|form| form.what == what)
}

#[cfg(test)]
mod tests {
    use model::field_log::KINDS;

    use super::*;

    #[test]
    fn every_kind_of_entry_has_its_form() {
        for kind in KINDS.into_iter().filter(|kind| *kind != "correction") {
            assert!(ALL.iter().any(|form| form.kind == kind), "{kind}");
        }
    }
}
