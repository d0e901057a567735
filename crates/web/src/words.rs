//! What pages say, in one place for each language: `words/en.toml`. Another language is
//! another file; which one a page gets is the person's choice, so a page holds its words
//! as [`Words`].

use std::collections::BTreeMap;
use std::fmt::Display;
use std::sync::OnceLock;

use serde_json::Value;

/// The words of one language.
#[derive(Debug)]
pub(crate) struct Words {
    said: BTreeMap<String, String>,
}

/// English.
pub(crate) fn english() -> &'static Words {
    static ENGLISH: OnceLock<Words> = OnceLock::new();
    ENGLISH.get_or_init(|| Words::read(include_str!("../words/en.toml")))
}

impl Words {
    /// From a file whose tables are pages; a file that does not read has no words, and
    /// the tests fail on it.
    fn read(file: &str) -> Words {
        let tables: BTreeMap<String, BTreeMap<String, String>> = match toml::from_str(file) {
            Ok(tables) => tables,
            Err(error) => {
                tracing::error!(%error, "the words of the pages cannot be read");
                BTreeMap::new()
            }
        };
        let said = tables.into_iter().flat_map(|(page, words)| {
            words.into_iter().map(move |(key, said)| (format!("{page}.{key}"), said))
        });
        Words { said: said.collect() }
    }

    /// What stands under a key such as `today.title`; a key without words stands for
    /// itself, which a test rules out.
    pub(crate) fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.said.get(key).map_or(key, String::as_str)
    }

    /// What stands under each of these keys, such as the headings of a table.
    pub(crate) fn all<'a, const N: usize>(&'a self, keys: [&'a str; N]) -> Vec<&'a str> {
        keys.map(|key| self.get(key)).to_vec()
    }

    /// All words of a page, as JSON by their keys.
    pub(crate) fn of(&self, page: &str) -> Value {
        let of_page = |key: &str| key.split_once('.').is_some_and(|(of, _)| of == page);
        self.said
            .iter()
            .filter(|(key, _)| of_page(key))
            .map(|(key, said)| (key.clone(), Value::from(said.as_str())))
            .collect()
    }

    /// The same with its places filled: `{n}` by what is given for `n`. What fills a
    /// place is left as it is, braces and all: people name farms and blocks.
    pub(crate) fn fill(&self, key: &str, places: &[(&str, &dyn Display)]) -> String {
        let mut pieces = self.get(key).split('{');
        let mut said = pieces.next().unwrap_or_default().to_owned();
        for piece in pieces {
            let value = piece
                .split_once('}')
                .and_then(|(name, rest)| Some((places.iter().find(|(known, _)| *known == name)?.1, rest)));
            match value {
                Some((value, rest)) => said.push_str(&format!("{value}{rest}")),
                None => said.push_str(&format!("{{{piece}")),
            }
        }
        said
    }
}

#[cfg(test)]
mod tests;
