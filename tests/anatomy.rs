//! Poses are absolute: whatever a rig's names, axes, scale or bind, standing is straight and sitting is level.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/angles.rs"]
mod angles;
#[path = "support/rigs.rs"]
mod support;

use angles::{Body, at, off_deg};
use gusset::pose::{self, stand};
use gusset::rig::anatomy::Anatomy;
use gusset::rig::bone::{Bone, Side};
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use nalgebra::{Matrix4, Vector3};
use std::path::{Path, PathBuf};

const BODIES: [&str; 11] = [
    "bodies/mhr_body_average.glb",
    "bodies/mhr_body_slim.glb",
    "bodies/mhr_body_heavy.glb",
    "bodies/mhr_body_average_8inf.glb",
    "bodies/mhr_body_average_vrmhuman.glb",
    "bodies/mhr_body_average_cut.glb",
    "bodies/rocketbox_male_adult_17.glb",
    "synthetic/body.glb",
    "thirdparty/mannequiny/mannequiny-0.3.0.glb",
    "thirdparty/cesium_man/cesium_man.gltf",
    "thirdparty/kaykit/Rogue.glb",
];
/// What the other encodings encode.
const BASE: &str = "trousers/trousers_average_build9.glb";

fn load(path: &Path) -> Body {
    let rig = read(path, &ReadOptions::default()).unwrap();
    let skinned: Vec<usize> = (0..rig.meshes.len())
        .filter(|&mesh| rig.meshes[mesh].skinned)
        .collect();
    let surface = assemble(&rig, &skinned, "surface");
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    Body { skeleton, anatomy }
}

fn encodings(rigs: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(rigs.join("encodings"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_none_or(|ending| ending != "bin"))
        .collect();
    files.sort();
    assert!(files.len() >= 17, "{} encodings", files.len());
    files
}

/// Every body, every garment, every encoding.
fn everything(rigs: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = BODIES.iter().map(|file| rigs.join(file)).collect();
    files.extend([
        rigs.join(BASE),
        rigs.join("trousers/trousers_average_build0.glb"),
        rigs.join("trousers/trousers_slim_build9.glb"),
        rigs.join("synthetic/trousers.glb"),
    ]);
    files.extend(encodings(rigs));
    files
}

/// Hip to knee and knee to ankle in the pelvis's own axes, unit length.
fn leg(body: &Body, world: &[Matrix4<f64>], side: Side) -> [Vector3<f64>; 2] {
    let [hip, knee, ankle] = [Bone::UpperLeg(side), Bone::LowerLeg(side), Bone::Foot(side)]
        .map(|bone| at(body, world, bone).unwrap());
    [knee - hip, ankle - knee].map(|part| body.anatomy.pelvis.inverse() * part.normalize())
}

fn splay_deg(body: &Body) -> [f64; 2] {
    Side::BOTH.map(|side| body.anatomy.hip_splay(side).to_degrees())
}

#[test]
fn hip_splay_at_the_bind() {
    let Some(rigs) = support::rigs() else { return };
    for (file, degrees, tolerance) in [
        ("bodies/mhr_body_average.glb", 9.25, 0.1),
        (BASE, 9.25, 0.1),
        ("trousers/trousers_average_build0.glb", 0.0, 0.1),
        ("bodies/rocketbox_male_adult_17.glb", 3.0, 0.2),
        ("thirdparty/mannequiny/mannequiny-0.3.0.glb", 5.0, 0.2),
    ] {
        for splay in splay_deg(&load(&rigs.join(file))) {
            assert!((splay - degrees).abs() <= tolerance, "{file}: {splay}");
        }
    }
}

#[test]
fn the_front_is_where_the_toes_point() {
    let Some(rigs) = support::rigs() else { return };
    let front = |file: &str| {
        let anatomy = load(&rigs.join(file)).anatomy;
        assert_ne!(anatomy.toes_to_front, Some(false), "{file}");
        anatomy.pelvis * Vector3::z()
    };
    for file in BODIES.iter().filter(|file| !file.contains("cesium_man")) {
        assert!(front(file).z > 0.95, "{file} faces {:?}", front(file));
    }
    // This one's root matrix lays the world's Z up and leaves it facing to +X.
    let cesium = front("thirdparty/cesium_man/cesium_man.gltf");
    assert!(cesium.x > 0.95, "faces {cesium:?}");
}

#[test]
fn an_encoding_is_the_same_garment() {
    let Some(rigs) = support::rigs() else { return };
    let base = load(&rigs.join(BASE));
    let sitting = &pose::find("sitting").unwrap().frames[0];
    let sat = stand::take(&base.skeleton, &base.anatomy, sitting);
    for file in encodings(&rigs) {
        let own = load(&file);
        for (own, base) in splay_deg(&own).iter().zip(splay_deg(&base)) {
            assert!((own - base).abs() < 0.01, "{}: {own}", file.display());
        }
        let world = stand::take(&own.skeleton, &own.anatomy, sitting);
        let compared = Bone::all().into_iter().filter(|&bone| {
            let (Some(own), Some(base)) = (at(&own, &world, bone), at(&base, &sat, bone)) else {
                return false;
            };
            let apart = (own - base).norm();
            assert!(
                apart < 2e-5,
                "{}: {} is {apart} m off",
                file.display(),
                bone.name()
            );
            true
        });
        assert!(compared.count() >= 9, "{}: roles are missing", file.display());
    }
}

#[test]
fn standing_is_straight_and_sitting_is_level_on_every_rig() {
    let Some(rigs) = support::rigs() else { return };
    let [standing, sitting] = ["standing", "sitting"].map(|name| pose::find(name).unwrap().frames[0].clone());
    for file in everything(&rigs) {
        let (body, file) = (load(&file), file.display());
        let stood = stand::take(&body.skeleton, &body.anatomy, &standing);
        let sat = stand::take(&body.skeleton, &body.anatomy, &sitting);
        for side in Side::BOTH {
            let [thigh, _] = leg(&body, &stood, side);
            assert!(
                thigh.x.asin().to_degrees().abs() < 0.1,
                "{file}: standing {thigh:?}"
            );
            assert!(thigh.y < -0.9, "{file}: standing {thigh:?}");
            let [thigh, shank] = leg(&body, &sat, side);
            assert!(
                thigh.y.asin().to_degrees().abs() < 0.5 && thigh.z > 0.9,
                "{file}: sitting {thigh:?}"
            );
            let lean = shank.z.atan2(-shank.y).to_degrees();
            assert!(lean.abs() < 0.5, "{file}: sitting shank leans {lean} degrees");
        }
    }
}

#[test]
fn the_angles_asked_for_are_the_angles_taken() {
    let Some(rigs) = support::rigs() else { return };
    let poses = pose::all();
    for file in everything(&rigs) {
        let body = load(&file);
        for pose in poses {
            for frame in &pose.frames {
                for (bone, off) in off_deg(&body, frame) {
                    let (file, bone) = (file.display(), bone.name());
                    assert!(off <= 0.01, "{file}, {}: {bone} is {off} degrees off", pose.name);
                }
            }
        }
    }
}
