//! Does a motion capture bend the same joints by the same angles on every body?

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

use gusset::demo;
use gusset::pose::capture::of_clip;
use gusset::pose::{clip, stand};
use gusset::rig::bone::{Bone, Side};
use gusset::rig::gltf::ReadOptions;
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::polar;
use gusset::wardrobe::bare;
use nalgebra::{Matrix3, Matrix4, Vector3};
use std::path::Path;
use std::process::{Command, Output};

/// Knee flexion and hip flexion in degrees from joint positions alone: the angle between thigh and shank, and the thigh's
/// direction in a pelvis with X from hip to hip and Y to the neck at the bind.
fn curves(skeleton: &Skeleton, world: &[Matrix4<f64>], side: Side) -> [f64; 2] {
    let node = |bone| skeleton.roles.node(bone).unwrap();
    let at = |bone| world[node(bone)].fixed_view::<3, 1>(0, 3).into_owned();
    let bind = |bone| skeleton.joints[node(bone)].position;
    let thigh = (at(Bone::LowerLeg(side)) - at(Bone::UpperLeg(side))).normalize();
    let shank = (at(Bone::Foot(side)) - at(Bone::LowerLeg(side))).normalize();
    let (left, right) = (
        bind(Bone::UpperLeg(Side::Left)),
        bind(Bone::UpperLeg(Side::Right)),
    );
    let x = (left - right).normalize();
    let up: Vector3<f64> = bind(Bone::Neck) - (left + right) / 2.0;
    let y = (up - x * up.dot(&x)).normalize();
    let pelvis = Matrix3::from_columns(&[x, y, x.cross(&y)]);
    let hips = node(Bone::Hips);
    let turn = polar(&world[hips]).0 * skeleton.joints[hips].rotation.inverse();
    let local = pelvis.transpose() * (turn.inverse() * thigh);
    [
        thigh.angle(&shank).to_degrees(),
        local.z.atan2(-local.y).to_degrees(),
    ]
}

#[test]
fn a_walk_bends_knees_and_hips_of_other_bodies_alike() {
    let Some(rigs) = support::rigs() else { return };
    let options = ReadOptions::default();
    let source = bare(&rigs.join("mocap/mhr_body_walk_cmu02_01.glb"), &options).unwrap();
    let clip = &source.rig.clips[0];
    let capture = of_clip(
        &source.rig,
        &source.body.skeleton,
        &source.body.anatomy,
        clip,
        600,
    );
    let times = clip::frames(clip, 600);
    assert_eq!(times.len(), capture.frames.len());
    for body in ["mhr_body_slim", "mhr_body_heavy", "rocketbox_male_adult_17"] {
        let wearer = bare(&rigs.join(format!("bodies/{body}.glb")), &options).unwrap();
        for side in Side::BOTH {
            let mut most = [0.0_f64; 2];
            let mut bend = [f64::INFINITY, f64::NEG_INFINITY];
            for (frame, &time_s) in capture.frames.iter().zip(&times) {
                let own = source.rig.world(&clip::sample(&source.rig, clip, time_s));
                let theirs = stand::take(&wearer.body.skeleton, &wearer.body.anatomy, frame);
                let wanted = curves(&source.body.skeleton, &own, side);
                let found = curves(&wearer.body.skeleton, &theirs, side);
                for joint in 0..2 {
                    most[joint] = most[joint].max((wanted[joint] - found[joint]).abs());
                }
                bend = [bend[0].min(wanted[0]), bend[1].max(wanted[0])];
            }
            assert!(
                most.iter().all(|most| *most < 2.0),
                "{body} {side:?}: knee, hip off by {most:?} degrees"
            );
            assert!(bend[1] - bend[0] > 40.0, "the knee hardly bends: {bend:?}");
        }
    }
}

/// A capture that bends the left knee by 70 degrees and the left hip by 40, on a body of the demo, by the command.
const BENT: &str = include_str!("support/bent.bvh");

fn gusset(folder: &Path, words: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gusset"));
    command.args(words).current_dir(folder).output().unwrap()
}

#[test]
fn a_capture_is_run_by_the_switch_and_by_the_fitting_file() {
    let folder = tempfile::tempdir().unwrap();
    let scenario = demo::scenario();
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
    write("body.glb", &scenario.bodies[0].glb());
    write("cloth.glb", &scenario.garments[0].piece.glb());
    write("bent.bvh", BENT.as_bytes());
    write("cut.bvh", &BENT.as_bytes()[..BENT.len() - 9]);
    write(
        "rack.yaml",
        b"bodies: [{ name: wren, file: body.glb }]\ngarments: [{ name: trousers, file: cloth.glb }]\n\
          captures: [{ file: bent.bvh, demand: hard }]\npromised: [bent]\n",
    );
    let json = ["--format", "json", "--quiet", "--no-remedies"];
    let switch = [
        "try",
        "body.glb",
        "cloth.glb",
        "--mocap",
        "bent.bvh",
        "--demand",
        "hard",
    ];
    for words in [&switch[..], &["try", "rack.yaml"]] {
        let ran = gusset(folder.path(), &[words, &json].concat());
        let record: serde_json::Value =
            serde_json::from_slice(&ran.stdout).unwrap_or_else(|_| panic!("{ran:?}"));
        let poses = record["fittings"][0]["poses"].as_array().unwrap();
        assert_eq!(poses.len(), 1, "only what was asked for is run");
        assert_eq!(
            (&poses[0]["pose"], &poses[0]["demand"]),
            (&"bent".into(), &"hard".into())
        );
        let angles = &poses[0]["frames"][1]["angles_deg"];
        for (bone, wanted) in [
            ("leftUpperLeg", 40.0),
            ("leftLowerLeg", 70.0),
            ("rightUpperLeg", 0.0),
        ] {
            let found = angles[bone]["flexion"].as_f64().unwrap();
            assert!((found - wanted).abs() < 0.01, "{bone}: {found}");
        }
    }
    let ran = gusset(
        folder.path(),
        &["try", "body.glb", "cloth.glb", "--mocap", "cut.bvh"],
    );
    let said = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(2));
    assert!(
        said.contains("cut.bvh:58: ") && said.contains("frame 2 of 2"),
        "{said}"
    );
    let ran = gusset(
        folder.path(),
        &["try", "body.glb", "cloth.glb", "--mocap", "body.glb"],
    );
    assert!(String::from_utf8_lossy(&ran.stderr).contains("holds no clip"));
    assert_eq!(ran.status.code(), Some(2));
}
