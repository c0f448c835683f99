//! Whether real files load whole, and whether broken ones are refused with a place in the file.
//!
//! The files lie outside the repository; see `GUSSET_RIGS`.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::{Mesh, Node, Rig};
use nalgebra::{Matrix4, Point3, Vector3};

#[path = "support/rigs.rs"]
mod support;
use support::rigs;

/// Every model under a folder, sorted.
fn models(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|end| end == "glb" || end == "gltf") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn load(path: &Path) -> Result<Rig, String> {
    read(path, &ReadOptions::default()).map_err(|error| error.to_string())
}

fn loaded(path: &Path) -> Rig {
    load(path).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn all_sound_files_load() {
    let Some(folder) = rigs() else { return };
    let sound = |path: &PathBuf| {
        !path
            .components()
            .any(|part| part.as_os_str() == "khronos_validator")
    };
    let models: Vec<PathBuf> = models(&folder).into_iter().filter(sound).collect();
    assert!(models.len() > 50, "only {} models found", models.len());
    for path in models {
        let rig = loaded(&path);
        let only_clips = path.file_name().unwrap().to_string_lossy().starts_with("Med_");
        assert_eq!(rig.meshes.is_empty(), only_clips, "{}", path.display());
        assert!(!only_clips || !rig.clips.is_empty());
    }
}

/// Vertices and triangles from `rigs/README.md` and the files' own counts.
#[test]
fn nothing_is_lost_on_the_way() {
    let Some(folder) = rigs() else { return };
    let cases = [
        ("bodies/mhr_body_average.glb", 1, 18_439, 36_874, 22),
        ("bodies/rocketbox_male_adult_17.glb", 1, 4_341, 7_084, 80),
        ("trousers/trousers_average_build9.glb", 1, 1_771, 3_110, 22),
        ("synthetic/body.glb", 1, 14_922, 29_840, 7),
        ("synthetic/trousers.glb", 1, 12_708, 25_228, 7),
        ("thirdparty/cesium_man/cesium_man.gltf", 1, 3_273, 4_672, 19),
        (
            "thirdparty/mannequiny/mannequiny-0.3.0.glb",
            3,
            10_366,
            13_932,
            45,
        ),
        ("thirdparty/greenman/greenman.glb", 1, 196, 356, 12),
    ];
    for (file, meshes, vertices, triangles, joints) in cases {
        let rig = loaded(&folder.join(file));
        let sum = |count: fn(&Mesh) -> usize| rig.meshes.iter().map(count).sum::<usize>();
        assert_eq!(
            (
                rig.meshes.len(),
                sum(|mesh| mesh.positions.len()),
                sum(|mesh| mesh.triangles.len())
            ),
            (meshes, vertices, triangles),
            "{file}"
        );
        assert_eq!(rig.meshes[0].binds.len(), joints, "{file}");
    }
    assert_eq!(
        loaded(&folder.join("bodies/mhr_body_average_vrmhuman.glb"))
            .stated_roles
            .len(),
        22
    );
    assert_eq!(
        loaded(&folder.join("thirdparty/mannequiny/mannequiny-0.3.0.glb"))
            .clips
            .len(),
        10
    );
    let walk = loaded(&folder.join("mocap/mhr_body_walk_cmu02_01.glb"));
    assert_eq!(walk.clips[0].channels[0].times_s.len(), 86);
    let rogue = loaded(&folder.join("thirdparty/kaykit/Rogue.glb"));
    assert!(rogue.meshes.iter().any(|mesh| !mesh.skinned) && rogue.meshes.iter().any(|mesh| mesh.skinned));
}

#[test]
fn weight_rows_off_in_cesium_man_stay_off() {
    let Some(folder) = rigs() else { return };
    let rig = loaded(&folder.join("thirdparty/cesium_man/cesium_man.gltf"));
    let rows = &rig.meshes[0].rows;
    let sums: Vec<f64> = (0..rows.len())
        .map(|vertex| rows.row(vertex).map(|(_, weight)| f64::from(weight)).sum())
        .collect();
    assert_eq!(
        sums.iter().filter(|&&sum| (sum - 1.0).abs() > 1e-3).count(),
        210,
        "rigs/README.md"
    );
    assert!(
        (sums.iter().copied().fold(f64::MAX, f64::min) - 0.185).abs() < 5e-4,
        "rigs/README.md"
    );
}

/// Triangle corners as posed by turning every joint a little, in drawing order.
fn posed(rig: &Rig) -> Vec<Point3<f64>> {
    let joints: BTreeSet<usize> = rig
        .meshes
        .iter()
        .flat_map(|mesh| &mesh.binds)
        .map(|bind| bind.node)
        .collect();
    let turned = |(index, node): (usize, &Node)| {
        // Some angle that depends on the name alone, since encodings number the joints differently.
        let angle = 0.1 * node.name.bytes().map(f64::from).sum::<f64>().sin();
        let turn = Matrix4::new_rotation(Vector3::new(angle, -angle, angle));
        node.local.matrix()
            * if joints.contains(&index) {
                turn
            } else {
                Matrix4::identity()
            }
    };
    let world = rig.world(&rig.nodes.iter().enumerate().map(turned).collect::<Vec<_>>());
    let mut corners = Vec::new();
    for mesh in &rig.meshes {
        let joints: Vec<Matrix4<f64>> = mesh
            .binds
            .iter()
            .map(|bind| world[bind.node] * bind.inverse_bind)
            .collect();
        for &corner in mesh.triangles.iter().flatten() {
            let rest = Point3::from(mesh.positions[corner as usize].map(f64::from));
            let weighted = mesh
                .rows
                .row(corner as usize)
                .map(|(bind, weight)| joints[bind] * f64::from(weight));
            corners.push(weighted.sum::<Matrix4<f64>>().transform_point(&rest));
        }
    }
    corners
}

/// `rigs/README.md`: the same trousers in many encodings pose to the same shape within 0.006 mm (8-bit weights:
/// 1.43 mm). In the two files with integer weights, 16 vertices have other weights than the base by up to 0.03, as
/// decoding their bytes by hand shows; those are not compared.
#[test]
fn every_encoding_of_the_trousers_poses_alike() {
    let Some(folder) = rigs() else { return };
    let base_rig = loaded(&folder.join("trousers/trousers_average_build9.glb"));
    let base = posed(&base_rig);
    let vertices: Vec<u32> = base_rig.meshes[0].triangles.iter().flatten().copied().collect();
    let mut compared = 0;
    for path in models(&folder.join("encodings")) {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        // These two have other joint names, by which the test turns joints.
        if ["hanim_names", "unnamed_joints"].contains(&name.as_str()) {
            continue;
        }
        let found = posed(&loaded(&path));
        assert_eq!(found.len(), base.len(), "{name}");
        let limit = if name == "weights_u8norm" { 1.43e-3 } else { 6e-6 };
        let off = |corner: &usize| (found[*corner] - base[*corner]).norm() > limit;
        let off: BTreeSet<u32> = (0..base.len())
            .filter(off)
            .map(|corner| vertices[corner])
            .collect();
        let allowed = if name.starts_with("weights_") { 16 } else { 0 };
        assert!(
            off.len() <= allowed,
            "{name}: vertices {off:?} are off by more than {} mm",
            limit * 1e3
        );
        compared += 1;
    }
    assert!(compared >= 16, "only {compared} encodings compared");
}

/// Errors the validator finds that are findings about weights, not reasons to refuse a file.
const WEIGHT_FINDINGS: [&str; 4] = [
    "ACCESSOR_WEIGHTS_NEGATIVE",
    "ACCESSOR_WEIGHTS_NON_NORMALIZED",
    "ACCESSOR_JOINTS_INDEX_DUPLICATE",
    "ACCESSOR_INVALID_FLOAT",
];

/// Files the validator finds sound that hold nothing to pose.
const NOTHING_TO_POSE: [&str; 1] = [
    "get_elements_sparse.gltf", // accessors only
];

/// Files the validator finds faulty, refused for what they lack before that fault matters.
const REFUSED_FOR_MORE: [(&str, &str); 4] = [
    (
        "morph_bufferview_target_override.gltf",
        "its buffer has no data at all",
    ),
    (
        "morph_position_accessor_no_bounds.gltf",
        "no skin; the bounds are never needed",
    ),
    (
        "joints_weights_complex.gltf",
        "points only: no triangle hangs on a joint",
    ),
    ("buffer_view_bytestride.gltf", "its buffer has no data at all"),
];

#[test]
fn the_khronos_validators_own_cases() {
    let Some(folder) = rigs() else { return };
    let cases = models(&folder.join("thirdparty/khronos_validator"));
    assert!(cases.len() >= 28, "only {} cases found", cases.len());
    for path in cases {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let report = std::fs::read(format!("{}.report.json", path.display())).unwrap();
        let report: serde_json::Value = serde_json::from_slice(&report).unwrap();
        let messages = report["issues"]["messages"].as_array().unwrap();
        let errors: Vec<&str> = messages
            .iter()
            .filter(|message| message["severity"] == 0)
            .map(|message| message["code"].as_str().unwrap())
            .filter(|code| !WEIGHT_FINDINGS.contains(code))
            .collect();
        match load(&path) {
            Ok(rig) => assert!(
                errors.is_empty() || !rig.remarks.is_empty(),
                "{name}: {errors:?} went unnoticed"
            ),
            Err(text) => {
                assert!(text.contains("(at /"), "no JSON pointer in: {text}");
                assert_eq!(
                    errors.is_empty(),
                    NOTHING_TO_POSE.contains(&name.as_str()),
                    "{name} is sound but: {text}"
                );
                let place = text
                    .split("(at ")
                    .nth(1)
                    .and_then(|rest| rest.split(')').next())
                    .unwrap();
                let same = |pointer: &str| pointer.starts_with(place) || place.starts_with(pointer);
                let pointers = messages.iter().filter(|message| message["severity"] == 0);
                let agreed = pointers
                    .filter_map(|message| message["pointer"].as_str())
                    .any(same);
                let excused = REFUSED_FOR_MORE.iter().any(|(known, _)| *known == name);
                assert!(
                    agreed || excused || errors.is_empty(),
                    "{name}: not the validator's place: {text}"
                );
            }
        }
    }
}
