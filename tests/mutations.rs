//! Valid files with random edits, at every door: each is read or refused in one sentence, and none breaks the reader.
//!
//! The seed is fixed, so a failure repeats. The same doors are open to a fuzzer in `fuzz/`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/gltf.rs"]
#[allow(dead_code, reason = "other tests use the rest")]
mod support;

use gusset::pose;
use gusset::rig::gltf::{Caps, Fault, ReadOptions, no_files, parse};
use support::Sample;

/// The generator of Numerical Recipes.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit
    }

    /// Edits one to three places; returns how many.
    fn damage(&mut self, bytes: &mut Vec<u8>) -> usize {
        let edits = 1 + self.below(3);
        for _ in 0..edits {
            let at = self.below(bytes.len());
            let end = (at + 1 + self.below(9)).min(bytes.len());
            match self.below(12) {
                0 => drop(bytes.drain(at..end)),
                1 => {
                    let piece = bytes[at..end].to_vec();
                    let to = self.below(bytes.len());
                    bytes.splice(to..to, piece);
                }
                2 => bytes[at] = b"\0\x01\x7f\x80\xff9-\"{}[]:,\n\t*&!|"[self.below(20)],
                3 => bytes[at] ^= 1 << self.below(8),
                4 => bytes[at] = self.below(256) as u8,
                _ => {
                    let digit = bytes[at..].iter().position(u8::is_ascii_digit);
                    let at = digit.map_or(at, |step| at + step);
                    bytes[at] = b'0' + self.below(10) as u8;
                }
            }
            if bytes.is_empty() {
                bytes.push(b'{');
            }
        }
        edits
    }
}

/// What became of the edited files of one door.
#[derive(Debug, Default)]
struct Tally {
    edits: usize,
    read: usize,
    refused: usize,
}

/// Edits the originals in turn until enough places were changed.
fn edit(originals: &[Vec<u8>], seed: u64, most: usize, read: impl Fn(&[u8]) -> Result<(), String>) -> Tally {
    let (mut dice, mut tally) = (Dice(seed), Tally::default());
    for original in originals.iter().cycle() {
        if tally.edits >= most {
            break;
        }
        let mut bytes = original.clone();
        tally.edits += dice.damage(&mut bytes);
        match read(&bytes) {
            Ok(()) => tally.read += 1,
            Err(said) => {
                tally.refused += 1;
                assert!(
                    !said.contains('\n') && said.len() < 1500,
                    "not one sentence: {said}"
                );
            }
        }
    }
    assert!(
        tally.read * 20 > tally.refused && tally.refused * 20 > tally.read,
        "the edits are too kind or too harsh: {tally:?}"
    );
    tally
}

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

#[test]
fn two_hundred_thousand_edits_break_no_door() {
    let start = std::time::Instant::now();
    let models = [Sample::new().glb(), Sample::new().embedded()];
    let poses: Vec<Vec<u8>> = ["standing", "sitting", "walk"]
        .iter()
        .map(|name| std::fs::read(format!("{}/poses/{name}.yaml", env!("CARGO_MANIFEST_DIR"))).unwrap())
        .collect();
    let glb = edit(&models[..1], 1, 80_000, rig);
    let json = edit(&models[1..], 2, 80_000, rig);
    let pose = edit(&poses, 3, 45_000, |bytes| {
        pose::parse(bytes, "edited.yaml")
            .map(drop)
            .map_err(|error| error.to_string())
    });
    let edits = glb.edits + json.edits + pose.edits;
    eprintln!(
        "{edits} edits in {:?}: {glb:?} {json:?} {pose:?}",
        start.elapsed()
    );
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
}
