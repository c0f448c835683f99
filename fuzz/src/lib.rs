//! What all targets ask: one sentence or a sound rig, and never a broken reader.

use gusset::compare::{Accepted, against};
use gusset::pose::capture::{RATE_HZ, of_bvh};
use gusset::pose::{Angles, bvh};
use gusset::rack::{Day, Place};
use gusset::report::{csv, json, junit, markdown, text};
use gusset::rig::gltf::{Caps, Fault, ReadOptions, no_files, parse};
use std::path::{Component, Path};

/// Reads a file with limits small enough that one input takes milliseconds.
pub fn read(bytes: &[u8]) {
    let options = ReadOptions {
        caps: Caps {
            vertices: 10_000,
            corners: 10_000,
            keys: 10_000,
            decoded_bytes: 4 << 20,
            ..Caps::default()
        },
        ..ReadOptions::default()
    };
    match parse(bytes, "fuzzed.glb", &no_files, &options) {
        Ok(rig) => {
            for mesh in &rig.meshes {
                assert!(mesh.positions.iter().flatten().all(|number| number.is_finite()));
                let vertices = mesh.positions.len();
                assert!(
                    mesh.triangles
                        .iter()
                        .flatten()
                        .all(|&corner| (corner as usize) < vertices)
                );
                assert_eq!(mesh.rows.len(), vertices);
            }
        }
        Err(error) => {
            assert_ne!(error.fault, Fault::Panicked);
            one_sentence(&error.to_string());
        }
    }
}

/// A GLB of these two chunks: spares the fuzzer the lengths in the header.
pub fn container(json: &[u8], bin: &[u8]) -> Vec<u8> {
    let mut file = b"glTF\x02\0\0\0\0\0\0\0".to_vec();
    for (kind, data, pad) in [(b"JSON", json, b' '), (b"BIN\0", bin, 0)] {
        let length = data.len().next_multiple_of(4);
        file.extend((length as u32).to_le_bytes());
        file.extend(kind);
        file.extend(data);
        file.resize(file.len() + length - data.len(), pad);
    }
    let length = file.len() as u32;
    file[8..12].copy_from_slice(&length.to_le_bytes());
    file
}

fn one_sentence(said: &str) {
    assert!(!said.contains('\n') && said.len() < 1500, "{said}");
}

/// Reads a pose file.
pub fn pose(text: &[u8]) {
    if let Err(error) = gusset::pose::parse(text, "fuzzed.yaml") {
        one_sentence(&error.to_string());
        // The lines shown with it are cut from the text: no place may lie outside.
        let _ = format!("{:?}", error.report());
    }
}

/// Reads a fitting file and lays out its jobs; no file of it is opened.
pub fn fitting(text: &[u8]) {
    match gusset::rack::parse(text, "fuzzed.yaml", false) {
        Ok(rack) => {
            let place = Place {
                folder: Path::new(""),
                allow_outside: false,
            };
            // The named day only decides which excuses hold.
            let today = Day::parse("2027-01-31").expect("a day");
            for job in rack.jobs(place, &ReadOptions::default(), today) {
                job.files()
                    .for_each(|file| assert!(stays_within(file), "{}", file.display()));
            }
        }
        Err(error) => {
            one_sentence(&error.to_string());
            let _ = format!("{:?}", error.report());
        }
    }
}

/// Whether a path never climbs out of the folder it starts in.
fn stays_within(file: &Path) -> bool {
    let mut depth = 0_i64;
    file.components().all(|part| {
        depth += match part {
            Component::Normal(_) => 1,
            Component::ParentDir => -1,
            Component::CurDir => 0,
            Component::RootDir | Component::Prefix(_) => i64::MIN / 2,
        };
        depth >= 0
    })
}

/// Reads a motion capture; what is read as poses has numbers for angles.
pub fn capture(text: &[u8]) {
    match bvh::parse(text, "fuzzed.bvh") {
        Ok(bvh) => {
            if let Ok(capture) = of_bvh(&bvh, RATE_HZ, 20) {
                let angles = capture.frames.iter().flat_map(|frame| frame.angles.values());
                let set = angles.filter_map(|angles| match angles {
                    Angles::Set(angles) => Some(angles.values()),
                    Angles::Bind => None,
                });
                assert!(set.flatten().all(|angle| angle.is_finite()));
            }
        }
        Err(error) => one_sentence(&error.to_string()),
    }
}

/// Reads an accepted file; what it holds is written and read back the same.
pub fn accepted(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match Accepted::parse(text) {
        Ok(accepted) => assert_eq!(
            Accepted::parse(&accepted.render()).unwrap().render(),
            accepted.render()
        ),
        Err(error) => one_sentence(&error.to_string()),
    }
}

/// Reads a result, and makes of it what `join` and `accept` make.
pub fn result(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match json::parse(text) {
        Ok(outcome) => {
            let accepted = Accepted::of(&outcome);
            let _ = against(&accepted, &outcome);
            let _ = (
                csv::render(&outcome),
                junit::render(&outcome),
                markdown::render(&outcome),
                markdown::of_rack(&outcome),
            );
            let _ = (
                text::overall(&outcome),
                json::parse(&json::render(&outcome)).unwrap(),
            );
        }
        Err(error) => one_sentence(&error.to_string()),
    }
}
