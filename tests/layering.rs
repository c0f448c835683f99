//! The arrows: which room may name which other room. Reads the source.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::fs;
use std::path::{Path, PathBuf};

/// Room and the rooms it may name. `units`, `geometry` and `outcome` are plain vocabulary.
const MAY_NAME: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("timings", &[]),
    ("geometry", &[]),
    ("outcome", &[]),
    ("written", &[]),
    ("rig", &["geometry", "written"]),
    ("pose", &["rig", "outcome", "written"]),
    ("skin", &["rig"]),
    (
        "contact",
        &["geometry", "rig", "pose", "skin", "measure", "timings"],
    ),
    (
        "measure",
        &["contact", "geometry", "rig", "skin", "outcome", "units"],
    ),
    ("verdict", &["measure", "outcome", "units"]),
    (
        "wardrobe",
        &[
            "contact", "fitting", "measure", "outcome", "rig", "skin", "timings", "written",
        ],
    ),
    (
        "fitting",
        &[
            "contact", "measure", "outcome", "pose", "rig", "timings", "units", "verdict",
        ],
    ),
    (
        "rack",
        &[
            "contact", "measure", "outcome", "pose", "rig", "verdict", "wardrobe", "written",
        ],
    ),
    ("report", &["outcome", "timings", "units", "written"]),
    (
        "remedies",
        &[
            "contact", "fitting", "geometry", "measure", "outcome", "pose", "rig", "skin", "units", "verdict",
        ],
    ),
    (
        "sweep",
        &[
            "contact", "fitting", "measure", "outcome", "pose", "units", "verdict",
        ],
    ),
    ("splay", &["contact", "geometry", "pose", "rig", "skin", "sweep"]),
    ("refit", &["contact", "geometry", "measure", "rig"]),
    ("compare", &["contact", "measure", "outcome", "units", "written"]),
    (
        "scenes",
        &[
            "compare", "contact", "fitting", "geometry", "measure", "outcome", "refit", "report", "rig",
            "skin", "splay", "sweep", "units", "verdict",
        ],
    ),
    ("demo", &["geometry", "pose", "rig", "skin"]),
];

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

/// The code of a file without its tests and comments.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    text.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n")
}

fn named(code: &str) -> Vec<String> {
    code.match_indices("crate::")
        .map(|(at, found)| {
            let rest = &code[at + found.len()..];
            rest.chars()
                .take_while(|letter| letter.is_alphanumeric() || *letter == '_')
                .collect()
        })
        .collect()
}

#[test]
fn rooms_name_only_whom_they_may() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let rooms: Vec<&str> = MAY_NAME.iter().map(|row| row.0).collect();
    let mut wrong = Vec::new();
    for file in files {
        let inside = file
            .strip_prefix(&root)
            .unwrap()
            .to_string_lossy()
            .replace('\\', "/");
        let room = inside
            .split('/')
            .next()
            .unwrap_or_default()
            .trim_end_matches(".rs");
        if ["main", "lib", "cli"].contains(&room) {
            continue;
        }
        let Some((_, allowed)) = MAY_NAME.iter().find(|row| row.0 == room) else {
            wrong.push(format!("{inside}: the room `{room}` is not in the table"));
            continue;
        };
        for other in named(&code(&file)) {
            let known = rooms.contains(&other.as_str());
            if known && other != room && !allowed.contains(&other.as_str()) {
                wrong.push(format!("{inside}: {room} must not name {other}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_room_of_the_map_is_in_the_table() {
    let map = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs")).unwrap();
    let mut in_map: Vec<&str> = map
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.split(';').next())
        .collect();
    let mut in_table: Vec<&str> = MAY_NAME.iter().map(|row| row.0).collect();
    in_map.sort_unstable();
    in_table.sort_unstable();
    assert_eq!(in_map, in_table);
}
