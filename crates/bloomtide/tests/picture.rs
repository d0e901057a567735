//! The picture in the README is one that the program draws.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;
use std::process::Command;

#[test]
fn the_picture_in_the_readme_is_what_replay_draws() {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data");
    let folder = tempfile::tempdir().unwrap();
    let drawn = folder.path().join("season.svg");
    let run = Command::new(env!("CARGO_BIN_EXE_bloomtide"))
        .arg("replay")
        .arg(data.join("north-bench-2013.toml"))
        .arg("--picture")
        .arg(&drawn)
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let (kept, drawn) = (data.join("north-bench-2013.svg"), std::fs::read_to_string(&drawn).unwrap());
    assert_eq!(
        std::fs::read_to_string(&kept).unwrap(),
        drawn,
        "draw it anew: bloomtide replay tests/data/north-bench-2013.toml --picture tests/data/north-bench-2013.svg"
    );
}
