//! Poses are absolute: whatever a rig's names, axes, scale or bind, standing is straight and sitting is level.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::pose::{self, stand};
use gusset::rig::anatomy::Anatomy;
use gusset::rig::bone::{Bone, Side};
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use nalgebra::{Matrix4, Vector3};
use std::path::Path;

fn load(path: &Path) -> (Skeleton, Anatomy) {
    let rig = read(path, &ReadOptions::default()).unwrap();
    let all: Vec<usize> = (0..rig.meshes.len())
        .filter(|&mesh| rig.meshes[mesh].skinned)
        .collect();
    let surface = assemble(&rig, &all, "surface");
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    (skeleton, anatomy)
}

fn splay_deg(path: &Path) -> [f64; 2] {
    let (_, anatomy) = load(path);
    Side::BOTH.map(|side| anatomy.hip_splay(side).to_degrees())
}

fn joint(skeleton: &Skeleton, world: &[Matrix4<f64>], bone: Bone) -> Vector3<f64> {
    world[skeleton.roles.node(bone).unwrap()]
        .fixed_view::<3, 1>(0, 3)
        .into_owned()
}

/// Hip to knee and knee to ankle in the pelvis's own axes, unit length.
fn leg(skeleton: &Skeleton, anatomy: &Anatomy, world: &[Matrix4<f64>], side: Side) -> [Vector3<f64>; 2] {
    let [hip, knee, ankle] = [Bone::UpperLeg(side), Bone::LowerLeg(side), Bone::Foot(side)]
        .map(|bone| joint(skeleton, world, bone));
    [knee - hip, ankle - knee].map(|part| anatomy.pelvis.inverse() * part.normalize())
}

#[test]
fn hip_splay_at_the_bind() {
    let Some(rigs) = support::rigs() else { return };
    for (file, degrees, tolerance) in [
        ("bodies/mhr_body_average.glb", 9.25, 0.1),
        ("trousers/trousers_average_build0.glb", 0.0, 0.1),
        ("bodies/rocketbox_male_adult_17.glb", 3.0, 0.2),
        ("thirdparty/mannequiny/mannequiny-0.3.0.glb", 5.0, 0.2),
    ] {
        for splay in splay_deg(&rigs.join(file)) {
            assert!((splay - degrees).abs() <= tolerance, "{file}: {splay}");
        }
    }
    let base = splay_deg(&rigs.join("trousers/trousers_average_build9.glb"));
    for entry in std::fs::read_dir(rigs.join("encodings")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "bin") {
            continue;
        }
        for (own, base) in splay_deg(&path).iter().zip(base) {
            assert!((own - base).abs() < 0.01, "{}: {own}", path.display());
        }
    }
}

#[test]
fn standing_is_straight_and_sitting_is_level_on_every_rig() {
    let Some(rigs) = support::rigs() else { return };
    let standing = pose::find("standing").unwrap();
    let sitting = pose::find("sitting").unwrap();
    for file in [
        "bodies/mhr_body_average.glb",
        "bodies/mhr_body_slim.glb",
        "bodies/mhr_body_heavy.glb",
        "bodies/mhr_body_average_vrmhuman.glb",
        "bodies/rocketbox_male_adult_17.glb",
        "synthetic/body.glb",
        "thirdparty/mannequiny/mannequiny-0.3.0.glb",
        "thirdparty/cesium_man/cesium_man.gltf",
    ] {
        let (skeleton, anatomy) = load(&rigs.join(file));
        let stood = stand::take(&skeleton, &anatomy, &standing.frames[0]);
        let sat = stand::take(&skeleton, &anatomy, &sitting.frames[0]);
        for side in Side::BOTH {
            let [thigh, _] = leg(&skeleton, &anatomy, &stood, side);
            assert!(
                thigh.x.asin().to_degrees().abs() < 0.1,
                "{file}: standing {thigh:?}"
            );
            let [thigh, shank] = leg(&skeleton, &anatomy, &sat, side);
            assert!(
                thigh.y.asin().to_degrees().abs() < 0.5,
                "{file}: sitting thigh {thigh:?}"
            );
            let lean = shank.z.atan2(-shank.y).to_degrees();
            assert!(lean.abs() < 0.5, "{file}: sitting shank leans {lean} degrees");
        }
    }
}

#[test]
fn the_angles_asked_for_are_the_angles_taken() {
    let Some(rigs) = support::rigs() else { return };
    for file in [
        "bodies/mhr_body_average.glb",
        "bodies/rocketbox_male_adult_17.glb",
    ] {
        let (skeleton, anatomy) = load(&rigs.join(file));
        for pose in pose::all() {
            for frame in &pose.frames {
                let world = stand::take(&skeleton, &anatomy, frame);
                let taken = stand::effective(&skeleton, &anatomy, &world);
                for side in Side::BOTH {
                    for (bone, motions) in [
                        (Bone::UpperLeg(side), &["flexion", "abduction", "rotation"][..]),
                        (Bone::LowerLeg(side), &["flexion"]),
                    ] {
                        for motion in taken[&bone]
                            .keys()
                            .filter(|motion| motions.contains(&motion.word()))
                        {
                            let Some(asked) = frame.get(bone, *motion) else {
                                continue;
                            };
                            let off = (taken[&bone][motion] - asked).to_degrees().abs();
                            assert!(
                                off < 0.01,
                                "{file}, {}: {} {motion} is {off} degrees off",
                                pose.name,
                                bone.name()
                            );
                        }
                    }
                }
            }
        }
    }
}
