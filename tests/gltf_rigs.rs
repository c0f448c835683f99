//! Real files load whole, or are refused with a place in the file.

use std::path::{Path, PathBuf};

use gusset::rig::gltf::{ReadOptions, read};

fn rigs() -> Option<PathBuf> {
    let folder = std::env::var_os("GUSSET_RIGS").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/rigs"),
        PathBuf::from,
    );
    if folder.is_dir() {
        return Some(folder);
    }
    eprintln!("SKIPPED: no folder of test rigs at {}", folder.display());
    None
}

fn models(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            models(&path, found);
        } else if path.extension().is_some_and(|end| end == "glb" || end == "gltf") {
            found.push(path);
        }
    }
}

#[test]
fn list() {
    let Some(folder) = rigs() else { return };
    let mut found = Vec::new();
    models(&folder, &mut found);
    for path in found {
        let t = std::time::Instant::now();
        match read(&path, &ReadOptions::default()) {
            Ok(rig) => {
                println!(
                    "OK {} nodes {} meshes {} verts {} tris {} clips {} roles {} {:?}",
                    path.strip_prefix(&folder).unwrap().display(),
                    rig.nodes.len(),
                    rig.meshes.len(),
                    rig.meshes.iter().map(|m| m.positions.len()).sum::<usize>(),
                    rig.meshes.iter().map(|m| m.triangles.len()).sum::<usize>(),
                    rig.clips.len(),
                    rig.stated_roles.len(),
                    t.elapsed()
                );
                for r in &rig.remarks {
                    println!("      {} {} {}", r.code, r.place, r.say);
                }
            }
            Err(e) => println!("NO {e}"),
        }
    }
}
