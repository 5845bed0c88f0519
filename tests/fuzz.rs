//! What the fuzzer found or began with, replayed: every file of `tests/fuzz/corpus/` through its way in.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "fuzz/targets.rs"]
mod targets;

use std::path::Path;

fn replay(name: &str, target: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(name);
    let files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|file| file.unwrap().path()).collect();
    assert!(files.len() >= 3, "{} files in {}", files.len(), folder.display());
    for file in files {
        target(&std::fs::read(file).unwrap());
    }
}

#[test]
fn quantities() {
    replay("quantities", targets::quantities);
}

#[test]
fn sheets() {
    replay("sheet", targets::sheet);
}

#[test]
fn readings() {
    replay("readings", targets::readings);
}

#[test]
fn logs() {
    replay("log", targets::log);
}

#[test]
fn chains() {
    replay("json", targets::json);
}

#[test]
fn sections() {
    replay("section", targets::section);
}
