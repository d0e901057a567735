//! By what the board is sorted, and which blocks it lets through. All of it stands in
//! the address, so that a board can be kept as a bookmark.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use model::season::State;
use model::waiting::Wanted;
use serde::Deserialize;

use super::row::Row;
use crate::words::Words;

/// What stands in the address; a browser sends empty fields too.
#[derive(Debug, Default, Clone, Deserialize)]
#[serde(default)]
pub(crate) struct Asked {
    year: String,
    farm: String,
    cultivar: String,
    state: String,
    waits: String,
    sort: String,
    dir: String,
}

/// A choice of a list: what is sent, what is shown, whether it is chosen.
pub(crate) type Chosen = (String, String, bool);

/// A heading of the table.
pub(crate) struct Head {
    pub(crate) words: String,
    /// Where it leads to: the table sorted by it.
    pub(crate) href: String,
    /// `ascending` or `descending`, where the table is sorted by it.
    pub(crate) sorted: Option<&'static str>,
    /// Whether the fans stand behind it.
    pub(crate) before_fans: bool,
}

/// What can be sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Column {
    Block,
    Farm,
    Cultivar,
    State,
    Next,
    Read,
    Counted,
    Waits,
}

/// States, the most pressing first.
const STATES: [State; 7] =
    [State::Overrun, State::Due, State::Hold, State::Growing, State::Watching, State::Done, State::StoodDown];

/// What one can filter by of what waits.
const WAITS: [(&str, Wanted, &str); 4] = [
    ("count", Wanted::Count, "board.waits_count"),
    ("decide", Wanted::Decide, "board.waits_decide"),
    ("look", Wanted::Look, "board.waits_look"),
    ("confirm", Wanted::Confirm, "board.waits_confirm"),
];

impl Column {
    pub(crate) const ALL: [Column; 8] = [
        Column::Block,
        Column::Farm,
        Column::Cultivar,
        Column::State,
        Column::Next,
        Column::Read,
        Column::Counted,
        Column::Waits,
    ];

    /// As it stands in the address.
    fn key(self) -> &'static str {
        match self {
            Column::Block => "block",
            Column::Farm => "farm",
            Column::Cultivar => "cultivar",
            Column::State => "state",
            Column::Next => "next",
            Column::Read => "read",
            Column::Counted => "counted",
            Column::Waits => "waits",
        }
    }

    pub(crate) fn words(self) -> &'static str {
        match self {
            Column::Block => "board.block",
            Column::Farm => "board.farm",
            Column::Cultivar => "board.cultivar",
            Column::State => "board.state",
            Column::Next => "board.next",
            Column::Read => "board.read",
            Column::Counted => "board.counted",
            Column::Waits => "board.waits",
        }
    }

    /// One row against another. What is not known comes last, whichever way is sorted.
    fn compared(self, a: &Row, b: &Row, falls: bool) -> Ordering {
        let names = |a: &str, b: &str| turned(a.to_lowercase().cmp(&b.to_lowercase()), falls);
        match self {
            Column::Block => names(&a.name, &b.name),
            Column::Farm => names(&a.farm, &b.farm),
            Column::Cultivar => names(&a.cultivar, &b.cultivar),
            Column::State => known(a.state.map(rank), b.state.map(rank), falls),
            Column::Next => known(a.next_at, b.next_at, falls),
            // The youngest reading has the smallest age.
            Column::Read => known(a.as_of, b.as_of, !falls),
            Column::Counted => known(a.counted_at, b.counted_at, falls),
            Column::Waits => {
                let first = |row: &Row| row.waits.first().map(|waits| waits.what);
                known(first(a), first(b), falls)
            }
        }
    }
}

fn turned(order: Ordering, falls: bool) -> Ordering {
    if falls { order.reverse() } else { order }
}

fn known<T: Ord>(a: Option<T>, b: Option<T>, falls: bool) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) => turned(a.cmp(&b), falls),
        (a, b) => a.is_none().cmp(&b.is_none()),
    }
}

fn rank(state: State) -> usize {
    STATES.iter().position(|one| *one == state).unwrap_or(STATES.len())
}

fn typed(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}

impl Asked {
    pub(crate) fn year(&self) -> Option<&str> {
        typed(&self.year)
    }

    pub(crate) fn farm(&self) -> Option<&str> {
        typed(&self.farm)
    }

    pub(crate) fn column(&self) -> Column {
        Column::ALL.into_iter().find(|column| column.key() == self.sort).unwrap_or(Column::Next)
    }

    pub(crate) fn falls(&self) -> bool {
        self.dir == "desc"
    }

    /// What the form keeps beside its own fields.
    pub(crate) fn kept(&self) -> [(&'static str, &str); 3] {
        [("year", &self.year), ("sort", &self.sort), ("dir", &self.dir)]
    }

    /// Whether anything is filtered.
    pub(crate) fn filters(&self) -> bool {
        [&self.farm, &self.cultivar, &self.state, &self.waits].into_iter().any(|text| typed(text).is_some())
    }

    /// Whether a row is to be shown.
    pub(crate) fn lets(&self, row: &Row) -> bool {
        typed(&self.farm).is_none_or(|farm| row.farm_id == farm)
            && typed(&self.cultivar).is_none_or(|cultivar| row.cultivar == cultivar)
            && typed(&self.state).is_none_or(|state| row.state.is_some_and(|of| of.word() == state))
            && typed(&self.waits)
                .is_none_or(|waits| WAITS.iter().any(|(key, what, _)| *key == waits && row.waits_for(*what)))
    }

    pub(crate) fn sort(&self, rows: &mut [Row]) {
        let (column, falls) = (self.column(), self.falls());
        rows.sort_by(|a, b| {
            let same = || Column::Block.compared(a, b, false).then_with(|| a.block_id.cmp(&b.block_id));
            column.compared(a, b, falls).then_with(same)
        });
    }

    /// A heading: the one sorted by turns the order round, another begins at its first.
    pub(crate) fn head(&self, column: Column, words: &Words) -> Head {
        let sorted = column == self.column();
        let dir = if sorted && !self.falls() { "desc" } else { "asc" };
        Head {
            words: words.get(column.words()).to_owned(),
            href: self.address("/board", &[("sort", column.key()), ("dir", dir)]),
            sorted: sorted.then(|| if self.falls() { "descending" } else { "ascending" }),
            before_fans: column == Column::Next,
        }
    }

    /// The board's table with what was asked for.
    pub(crate) fn table(&self) -> String {
        self.address("/board", &[("sort", &self.sort), ("dir", &self.dir)])
    }

    /// The same on the map.
    pub(crate) fn map(&self) -> String {
        self.address("/board/map", &[("sort", &self.sort), ("dir", &self.dir)])
    }

    /// What was asked for at a path, with some more of it.
    fn address(&self, path: &str, more: &[(&str, &str)]) -> String {
        let own = [
            ("year", &*self.year),
            ("farm", &self.farm),
            ("cultivar", &self.cultivar),
            ("state", &self.state),
            ("waits", &self.waits),
        ];
        let pairs = own.iter().chain(more).filter_map(|(name, value)| Some((name, typed(value)?)));
        let pairs: Vec<String> = pairs.map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        format!("{path}?{}", pairs.join("&"))
    }

    pub(crate) fn farms(&self, farms: &[(String, String)], words: &Words) -> Vec<Chosen> {
        let all = farms.iter().map(|(id, name)| (id.clone(), name.clone()));
        choices(all, &self.farm, words.get("board.any"))
    }

    pub(crate) fn cultivars(&self, rows: &[Row], words: &Words) -> Vec<Chosen> {
        let all: BTreeSet<&str> =
            rows.iter().map(|row| row.cultivar.as_str()).filter(|name| !name.is_empty()).collect();
        let all = all.into_iter().map(|name| (name.to_owned(), name.to_owned()));
        choices(all, &self.cultivar, words.get("board.any"))
    }

    pub(crate) fn states(&self, rows: &[Row], words: &Words) -> Vec<Chosen> {
        let there = STATES
            .into_iter()
            .filter(|state| rows.iter().any(|row| row.state == Some(*state)) || self.state == state.word());
        let all = there.map(|state| (state.word().to_owned(), charts::season::state(state).to_owned()));
        choices(all, &self.state, words.get("board.any"))
    }

    pub(crate) fn waits(&self, words: &Words) -> Vec<Chosen> {
        let all = WAITS.iter().map(|(key, _, said)| ((*key).to_owned(), words.get(said).to_owned()));
        choices(all, &self.waits, words.get("board.any_waits"))
    }
}

fn choices(all: impl Iterator<Item = (String, String)>, chosen: &str, any: &str) -> Vec<Chosen> {
    let none = std::iter::once((String::new(), any.to_owned()));
    none.chain(all)
        .map(|(key, said)| {
            let is = key == chosen.trim();
            (key, said, is)
        })
        .collect()
}

/// A value as it stands in the query of an address.
fn encoded(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for byte in value.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => out.push(byte as char),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}
