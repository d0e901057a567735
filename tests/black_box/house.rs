//! The house: which crate may use which, and what lies at the top.

use std::collections::BTreeSet;
use std::path::Path;

use cargo_metadata::{DependencyKind, MetadataCommand};

/// What each crate may use of ours, as DEVELOPERS.md has it.
const MAY_USE: [(&str, &[&str]); 11] = [
    ("model", &[]),
    ("weather", &["model"]),
    ("store", &["model"]),
    ("access", &["model", "store"]),
    ("charts", &["model"]),
    ("alerts", &["model", "store", "charts"]),
    ("engine", &["model", "weather", "store", "alerts"]),
    ("api", &["model", "store", "access", "charts", "weather"]),
    ("web", &["model", "store", "access", "charts", "api", "weather"]),
    ("bloomtide", &["model", "weather", "store", "access", "charts", "alerts", "engine", "api", "web"]),
    (
        "black-box",
        &["model", "weather", "store", "access", "charts", "alerts", "engine", "api", "web", "bloomtide"],
    ),
];

/// Libraries that only some rooms may use.
const KEPT_TO: [(&str, &[&str]); 11] = [
    ("sqlx", &["store"]),
    ("libsqlite3-sys", &[]),
    ("tokio-postgres", &[]),
    ("reqwest", &["weather", "bloomtide", "black-box"]),
    ("hyper", &["weather", "bloomtide"]),
    ("hyper-util", &["weather", "bloomtide"]),
    ("ureq", &[]),
    ("mail-send", &["alerts"]),
    ("rustls", &["weather", "alerts", "bloomtide", "black-box"]),
    ("axum", &["api", "web", "bloomtide"]),
    ("thirtyfour", &["black-box"]),
];

#[test]
fn no_crate_uses_what_it_may_not() {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml");
    let metadata =
        MetadataCommand::new().cargo_path(env!("CARGO")).manifest_path(manifest).no_deps().exec().unwrap();
    let ours: BTreeSet<&str> = metadata.packages.iter().map(|package| package.name.as_str()).collect();
    assert!(ours.len() >= 10, "{ours:?}");
    for package in &metadata.packages {
        let name = package.name.as_str();
        let (_, may) =
            MAY_USE.iter().find(|(known, _)| *known == name).unwrap_or_else(|| panic!("{name} has no room"));
        for dependency in &package.dependencies {
            let uses = dependency.name.as_str();
            let in_tests = dependency.kind == DependencyKind::Development;
            if ours.contains(uses) && !may.contains(&uses) {
                assert!(in_tests && (uses == "black-box" || uses == name), "{name} must not use {uses}");
            }
            if let Some((_, rooms)) = KEPT_TO.iter().find(|(library, _)| *library == uses) {
                assert!(in_tests || rooms.contains(&name), "{name} must not use {uses}");
            }
        }
    }
}

#[test]
fn the_top_level_is_that_of_the_house() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let visible: BTreeSet<String> = std::fs::read_dir(top)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.starts_with('.') && name != "Cargo.lock" && name != "target")
        .collect();
    let house =
        ["Cargo.toml", "README.md", "DEVELOPERS.md", "crates", "config", "migrations", "tests", "deploy"];
    assert_eq!(visible, house.map(str::to_owned).into());
}
