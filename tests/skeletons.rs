//! Angles mean the same on any skeleton: invented ones with random axes, names, units, binds and sides.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/angles.rs"]
mod angles;
#[path = "support/humanoid.rs"]
mod humanoid;

use angles::{Body, at, off_deg};
use gusset::pose::{self, JointMotion, OnSide, PoseFrame, stand};
use gusset::rig::anatomy::Anatomy;
use gusset::rig::bone::{Bone, Side};
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use humanoid::{NAMES, Shape, Writing};
use nalgebra::Vector3;
use proptest::prelude::*;

fn body(shape: &Shape, writing: &Writing) -> (Body, Vec<(Bone, usize)>) {
    let (rig, bones) = humanoid::rig(shape, writing);
    let surface = assemble(&rig, &[0], "skin");
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).unwrap();
    (Body { skeleton, anatomy }, bones)
}

fn degrees(from: f64, to: f64) -> impl Strategy<Value = f64> + Clone {
    (from..to).prop_map(f64::to_radians)
}

fn shape() -> impl Strategy<Value = Shape> {
    let leg = (degrees(-2.0, 25.0), degrees(-8.0, 12.0), degrees(0.0, 25.0)).prop_map(<[f64; 3]>::from);
    let arm = (degrees(-5.0, 85.0), degrees(0.0, 40.0)).prop_map(<[f64; 2]>::from);
    ([leg.clone(), leg], [arm.clone(), arm], degrees(-180.0, 180.0)).prop_map(|(legs, arms, yaw)| Shape {
        legs,
        arms,
        yaw,
    })
}

fn writing() -> impl Strategy<Value = Writing> {
    let angle = -3.1..3.1;
    let axes = prop::collection::vec(
        (angle.clone(), angle.clone(), angle).prop_map(<[f64; 3]>::from),
        24,
    );
    let units = prop::sample::select(vec![1.0, 0.01, 100.0]);
    let moved = prop_oneof![Just(0.0), 0.1..0.8];
    (
        axes,
        0..=NAMES.len(),
        units.clone(),
        units,
        moved,
        any::<[bool; 4]>(),
    )
        .prop_map(
            |(axes, names, armature, mesh, moved, [z_up, matrices, right_first, legs_on_spine])| Writing {
                axes,
                names,
                armature,
                mesh,
                z_up,
                matrices,
                moved,
                right_first,
                // Without names nothing says which joint of the two is the hips.
                legs_on_spine: legs_on_spine && names < NAMES.len(),
            },
        )
}

/// Any angles, a little less than what poses ask for; some joints are left alone.
fn frame() -> impl Strategy<Value = PoseFrame> {
    const REACH: [(&str, f64, f64); 18] = [
        ("pelvis.tilt", -60.0, 80.0),
        ("pelvis.obliquity", -20.0, 20.0),
        ("pelvis.rotation", -90.0, 90.0),
        ("trunk.flexion", -30.0, 80.0),
        ("trunk.bend", -35.0, 35.0),
        ("trunk.rotation", -45.0, 45.0),
        ("neck.flexion", -60.0, 60.0),
        ("neck.rotation", -80.0, 80.0),
        ("shoulder.plane", -90.0, 135.0),
        ("shoulder.elevation", -60.0, 175.0),
        ("shoulder.rotation", -80.0, 105.0),
        ("elbow.flexion", 0.0, 150.0),
        ("wrist.flexion", -75.0, 80.0),
        ("hip.flexion", -30.0, 140.0),
        ("hip.abduction", -30.0, 50.0),
        ("hip.rotation", -45.0, 90.0),
        ("knee.flexion", -5.0, 160.0),
        ("ankle.flexion", -60.0, 30.0),
    ];
    let one = REACH.map(|(_, from, to)| prop::option::weighted(0.8, degrees(from, to)));
    [one.clone(), one].prop_map(|sides| {
        let mut frame = PoseFrame::default();
        for (values, side) in sides.into_iter().zip([OnSide::Left, OnSide::Right]) {
            for ((word, ..), value) in REACH.iter().zip(values) {
                if let Some(value) = value {
                    frame.set(JointMotion::parse(word).unwrap(), side, value);
                }
            }
        }
        frame
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(192) })]

    #[test]
    fn every_joint_is_known(shape in shape(), writing in writing()) {
        let (body, bones) = body(&shape, &writing);
        for (bone, node) in bones {
            prop_assert_eq!(body.skeleton.roles.node(bone), Some(node), "{}", bone.name());
        }
        prop_assert_eq!(body.anatomy.toes_to_front, Some(true));
    }

    #[test]
    fn the_bind_is_measured_as_built(shape in shape(), writing in writing()) {
        let (body, _) = body(&shape, &writing);
        let bound = stand::effective(&body.skeleton, &body.anatomy, &stand::at_bind(&body.skeleton));
        for (side, [abduction, flexion, knee]) in Side::BOTH.into_iter().zip(shape.legs) {
            // In the frontal plane a flexed thigh looks shorter, and so more splayed.
            let splay = abduction.sin().atan2(abduction.cos() * flexion.cos());
            prop_assert!((body.anatomy.hip_splay(side) - splay).abs() < 1e-5);
            let hip = &bound[&Bone::UpperLeg(side)];
            prop_assert!((hip[&pose::Motion::Abduction] - abduction).abs() < 1e-5);
            prop_assert!((hip[&pose::Motion::Flexion] - flexion).abs() < 1e-5);
            // The thigh's front is the pelvis's, so its own X is off by the product of two small angles.
            prop_assert!((body.anatomy.knee_at_bind(side) - knee).abs() < 0.01);
        }
        prop_assert!((body.anatomy.thigh_length - 0.43).abs() < 1e-6);
    }

    #[test]
    fn what_is_asked_is_taken(shape in shape(), writing in writing(), frame in frame()) {
        let (body, _) = body(&shape, &writing);
        for (bone, off) in off_deg(&body, &frame) {
            prop_assert!(off < 1e-4, "{} is {off} degrees off", bone.name());
        }
    }

    #[test]
    fn two_files_of_one_body_pose_alike(
        shape in shape(), writings in [writing(), writing()], frame in frame()
    ) {
        let [(a, bones), (b, _)] = writings.map(|writing| body(&shape, &writing));
        let [at_a, at_b] = [&a, &b].map(|body| stand::take(&body.skeleton, &body.anatomy, &frame));
        let apart = |bone| (at(&a, &at_a, bone).unwrap() - at(&b, &at_b, bone).unwrap()).norm();
        // Where the hips turn, two files may differ in the joint they turn about: compare from it outward.
        let hips = at(&a, &at_a, Bone::Hips).unwrap() - at(&b, &at_b, Bone::Hips).unwrap();
        prop_assert!(hips.norm() < 1e-6);
        for (bone, _) in bones {
            prop_assert!(apart(bone) < 1e-6, "{} is {} m off", bone.name(), apart(bone));
        }
    }

    #[test]
    fn a_mirrored_wearer_takes_the_mirrored_pose(
        shape in shape(), writings in [writing(), writing()], frame in frame()
    ) {
        let (body_one, bones) = body(&shape, &writings[0]);
        let (image, _) = body(&humanoid::mirrored(&shape), &writings[1]);
        let world = stand::take(&body_one.skeleton, &body_one.anatomy, &frame);
        let in_mirror = stand::take(&image.skeleton, &image.anatomy, &frame.mirrored());
        for (bone, _) in bones {
            let here = at(&body_one, &world, bone).unwrap();
            let there = at(&image, &in_mirror, bone.mirror()).unwrap();
            let apart = (Vector3::new(-here.x, here.y, here.z) - there).norm();
            prop_assert!(apart < 1e-6, "{} is {apart} m off", bone.name());
        }
    }
}

/// A file whose left and right are swapped is not mended: its front is where the trunk and the named sides say, and
/// the toes tell.
#[test]
fn swapped_names_are_noticed_by_the_toes() {
    let shape = Shape {
        legs: [[0.1, 0.0, 0.1]; 2],
        arms: [[0.8, 0.1]; 2],
        yaw: 0.0,
    };
    let writing = Writing {
        axes: vec![[0.0; 3]],
        names: 0,
        armature: 1.0,
        mesh: 1.0,
        z_up: false,
        matrices: false,
        moved: 0.0,
        right_first: false,
        legs_on_spine: false,
    };
    let (mut rig, _) = humanoid::rig(&shape, &writing);
    for node in &mut rig.nodes {
        node.name = match node.name.strip_prefix("left") {
            Some(rest) => format!("right{rest}"),
            None => node.name.replace("right", "left"),
        };
    }
    let surface = assemble(&rig, &[0], "skin");
    let anatomy = Anatomy::new(&Skeleton::new(&rig, &[&surface], &[])).unwrap();
    assert_eq!(anatomy.toes_to_front, Some(false));
}
