//! Valid files with random edits, at every door: each is read or refused in one sentence, and none breaks the reader.
//!
//! The seed is fixed, so a failure repeats. The same doors are open to a fuzzer in `fuzz/`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/gltf.rs"]
#[allow(dead_code, reason = "other tests use the rest")]
mod support;

#[path = "support/dice.rs"]
mod dice;

use dice::edit;
use gusset::compare::Accepted;
use gusset::pose;
use gusset::rack;
use gusset::rig::gltf::{Caps, Fault, ReadOptions, no_files, parse};
use support::Sample;

fn rig(bytes: &[u8]) -> Result<(), String> {
    let options = ReadOptions {
        // Small limits keep this fast where an edit asks for a lot.
        caps: Caps {
            vertices: 10_000,
            corners: 10_000,
            keys: 10_000,
            ..Caps::default()
        },
        ..ReadOptions::default()
    };
    match parse(bytes, "edited.glb", &no_files, &options) {
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
            }
            Ok(())
        }
        Err(error) => {
            assert_ne!(error.fault, Fault::Panicked, "the reader panicked");
            Err(error.to_string())
        }
    }
}

/// A pair of legs under a trunk, bent at the left hip and knee.
const CAPTURE: &str = include_str!("support/bent.bvh");

fn of_the_project(path: &str) -> Vec<u8> {
    std::fs::read(format!("{}/{path}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// Found by the fuzzer: the YAML reader turns `\r` within a key into a line end, which stood in the sentence.
#[test]
fn a_key_with_line_ends_is_quoted_on_one_line() {
    for text in [
        "{na.ese\r\r\r5V }\n",
        "\"a\\nb\\u001b[2J\": 1\n",
        "name: [\"a\\nb\"]\n",
    ] {
        let pose = pose::parse(text, "edited.yaml").unwrap_err();
        let fitting = rack::parse(text, "edited.yaml", false).unwrap_err();
        for said in [
            pose.to_string(),
            pose.in_a_line(),
            fitting.to_string(),
            fitting.in_a_line(),
        ] {
            assert!(!said.contains(char::is_control), "{said:?}");
        }
    }
    let long = format!("{}: 1\n", "k".repeat(9_000));
    assert!(pose::parse(long, "edited.yaml").unwrap_err().to_string().len() < 1_000);
}

#[test]
fn two_hundred_thousand_edits_break_no_door() {
    let start = std::time::Instant::now();
    let models = [Sample::new().glb(), Sample::new().embedded()];
    let poses = ["standing", "sitting", "walk"].map(|name| of_the_project(&format!("poses/{name}.yaml")));
    let glb = edit(&models[..1], 1, 80_000, rig);
    let json = edit(&models[1..], 2, 80_000, rig);
    let pose = edit(&poses, 3, 45_000, |bytes| {
        pose::parse(bytes, "edited.yaml")
            .map(drop)
            .map_err(|error| error.to_string())
    });
    let fitting = edit(
        &[
            of_the_project("src/rack/example.yaml"),
            of_the_project("reports/demo/fitting.yaml"),
        ],
        4,
        20_000,
        |bytes| {
            rack::parse(bytes, "edited.yaml", false)
                .map(drop)
                .map_err(|error| error.to_string())
        },
    );
    let accepted = edit(
        &[of_the_project("reports/demo/accepted.txt")],
        5,
        1_500,
        |bytes| {
            // A file that is no text is refused before its lines are read.
            let Ok(text) = std::str::from_utf8(bytes) else {
                return Ok(());
            };
            Accepted::parse(text).map(drop).map_err(|error| error.to_string())
        },
    );
    let capture = edit(&[CAPTURE.into()], 7, 10_000, |bytes| {
        let bvh = pose::bvh::parse(bytes, "edited.bvh").map_err(|error| error.to_string())?;
        let finite = |frame: &pose::PoseFrame| {
            frame.angles.values().all(|angles| match angles {
                pose::Angles::Set(angles) => angles.values().all(|angle| angle.is_finite()),
                pose::Angles::Bind => true,
            })
        };
        if let Ok(capture) = pose::capture::of_bvh(&bvh, 30.0, 20) {
            assert!(capture.frames.iter().all(finite));
        }
        Ok(())
    });
    let doors = [glb, json, pose, fitting, accepted, capture];
    let edits: usize = doors.iter().map(|door| door.edits).sum();
    eprintln!("{edits} edits in {:?}: {doors:?}", start.elapsed());
    assert!(edits >= 200_000);
}

/// Where the fuzzer starts: `cargo test --test mutations -- --ignored`.
#[test]
#[ignore = "writes fuzz/corpus"]
fn seeds_for_the_fuzzer() {
    let write = |target: &str, name: &str, bytes: &[u8]| {
        let folder = format!("{}/fuzz/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(format!("{folder}/{name}"), bytes).unwrap();
    };
    let sample = Sample::new();
    write("glb", "sample", &sample.glb());
    write("glb", "embedded", &sample.embedded());
    let mut json = sample.json.clone();
    json["buffers"] = serde_json::json!([{ "byteLength": sample.bin.len() }]);
    write("json", "sample", json.to_string().as_bytes());
    for pose in std::fs::read_dir(format!("{}/poses", env!("CARGO_MANIFEST_DIR"))).unwrap() {
        let path = pose.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "yaml") {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            write("pose", &name, &std::fs::read(&path).unwrap());
        }
    }
    write("bvh", "legs", CAPTURE.as_bytes());
    write("fitting", "example", &of_the_project("src/rack/example.yaml"));
    write("fitting", "demo", &of_the_project("reports/demo/fitting.yaml"));
    let accepted = of_the_project("reports/demo/accepted.txt");
    // Its first lines: what is tried on a small file is tried a thousand times as often.
    let lines = accepted
        .split_inclusive(|&byte| byte == b'\n')
        .take(40)
        .flatten()
        .copied();
    write("accepted", "demo", &lines.collect::<Vec<u8>>());
}
