use std::collections::BTreeSet;
use std::path::Path;

use super::*;

mod written;

/// Templates, sources and scripts, all of this crate.
fn texts() -> Vec<(String, String)> {
    fn walk(dir: &Path, texts: &mut Vec<(String, String)>) {
        for entry in std::fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            let ends = |end: &str| path.extension().is_some_and(|extension| extension == end);
            if path.is_dir() {
                walk(&path, texts);
            } else if (ends("rs") || ends("html") || ends("js"))
                && !path.ends_with("words/tests.rs")
                && !path.ends_with("words/tests/written.rs")
            {
                texts.push((path.display().to_string(), std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    let mut texts = Vec::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for dir in ["templates", "src", "assets"] {
        walk(&root.join(dir), &mut texts);
    }
    texts
}

/// Whether a quoted text has the form of a key of one of these pages.
fn is_key(text: &str, pages: &BTreeSet<&str>) -> bool {
    let word = |part: &str| {
        !part.is_empty()
            && part.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_')
    };
    let file = ["html", "js", "css", "svg"];
    text.split_once('.').is_some_and(|(page, key)| pages.contains(page) && word(key) && !file.contains(&key))
}

#[test]
fn every_key_used_has_words_and_all_words_are_used() {
    let words = english();
    let pages: BTreeSet<&str> = words.said.keys().filter_map(|key| Some(key.split_once('.')?.0)).collect();
    let mut used = BTreeSet::new();
    for (file, text) in texts() {
        // What stands between two quotes on one line; every second piece does.
        for key in text.lines().flat_map(|line| line.split('"')).filter(|piece| is_key(piece, &pages)) {
            assert!(words.said.contains_key(key), "{file}: no words for {key}");
            used.insert(key.to_owned());
        }
        let calls: &[&str] =
            if file.ends_with(".js") { &["say(\""] } else { &["words.get(\"", "words.fill(\""] };
        for call in calls {
            for key in text.split(*call).skip(1).filter_map(|rest| rest.split('"').next()) {
                assert!(words.said.contains_key(key), "{file}: no words for {key}");
            }
        }
    }
    let unused: Vec<&String> = words.said.keys().filter(|key| !used.contains(*key)).collect();
    assert!(unused.is_empty(), "words that no page uses: {unused:?}");
}

#[test]
fn places_are_filled() {
    let words = Words::read("[bar]\nwaiting = \"{n} entries wait, the oldest for {age}\"\n");
    assert_eq!(
        words.fill("bar.waiting", &[("n", &3), ("age", &"2 h")]),
        "3 entries wait, the oldest for 2 h"
    );
    assert_eq!(words.get("bar.none"), "bar.none");
    // A farm may bear a name like that.
    let named = words.fill("bar.waiting", &[("n", &"{age}"), ("age", &"{n} {")]);
    assert_eq!(named, "{age} entries wait, the oldest for {n} {");
    assert_eq!(words.fill("bar.waiting", &[("n", &1)]), "1 entries wait, the oldest for {age}");
}

#[test]
fn nothing_is_called_safe_or_legal() {
    for (key, said) in &english().said {
        let said = said.to_lowercase();
        for claim in ["safe", "legal", "complian", "approved"] {
            assert!(!said.contains(claim), "{key}: {said}");
        }
    }
}
