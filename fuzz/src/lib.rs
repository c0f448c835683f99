//! What all targets ask: one sentence or a sound rig, and never a broken reader.

use gusset::rig::gltf::{Caps, Fault, ReadOptions, no_files, parse};

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
                assert!(mesh.triangles.iter().flatten().all(|&corner| (corner as usize) < vertices));
                assert_eq!(mesh.rows.len(), vertices);
            }
        }
        Err(error) => {
            assert_ne!(error.fault, Fault::Panicked);
            let said = error.to_string();
            assert!(!said.contains('\n') && said.len() < 1500, "{said}");
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
