//! Which joint is the left knee, on real rigs with names of every kind and with none.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/rigs.rs"]
mod support;

/// A bone of either side, and what it is called.
type Limb<'a> = (fn(Side) -> Bone, &'a str);

use gusset::rig::Rig;
use gusset::rig::bone::{Bone, Side};
use gusset::rig::gltf::{ReadOptions, read};
use gusset::rig::roles::How;
use gusset::rig::skeleton::Skeleton;
use gusset::rig::surface::assemble;
use std::path::Path;

fn load(rigs: &Path, file: &str) -> (Rig, Skeleton) {
    let rig = read(&rigs.join(file), &ReadOptions::default()).unwrap();
    let skinned: Vec<usize> = (0..rig.meshes.len())
        .filter(|&mesh| rig.meshes[mesh].skinned)
        .collect();
    let surface = assemble(&rig, &skinned, "surface");
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    (rig, skeleton)
}

fn all_are(skeleton: &Skeleton, how: How) -> bool {
    skeleton.roles.by_bone.values().all(|found| found.1 == how)
}

/// Joint names by bone, the right side's as the left's with the side's words changed.
fn expect(skeleton: &Skeleton, middle: &[(Bone, &str)], limbs: &[Limb], sides: [&str; 2]) {
    let sided = Side::BOTH.into_iter().zip(sides).flat_map(|(side, word)| {
        limbs
            .iter()
            .map(move |(bone, name)| (bone(side), name.replace('%', word)))
    });
    let middle = middle.iter().map(|(bone, name)| (*bone, (*name).to_owned()));
    let expected: Vec<(Bone, String)> = middle.chain(sided).collect();
    for (bone, name) in &expected {
        let node = skeleton
            .roles
            .node(*bone)
            .unwrap_or_else(|| panic!("no {}", bone.name()));
        assert_eq!(&skeleton.joints[node].name, name, "{}", bone.name());
    }
    assert_eq!(
        skeleton.roles.by_bone.len(),
        expected.len(),
        "{:?}",
        skeleton.roles
    );
}

#[test]
fn hanim_names() {
    let Some(rigs) = support::rigs() else { return };
    let (_, skeleton) = load(&rigs, "encodings/hanim_names.glb");
    let middle = [
        (Bone::Hips, "humanoid_root"),
        (Bone::Spine, "vl3"),
        (Bone::Chest, "vt12"),
        (Bone::UpperChest, "vt1"),
        (Bone::Neck, "vc4"),
        (Bone::Head, "skullbase"),
    ];
    let limbs: [Limb; 8] = [
        (Bone::UpperLeg, "%_hip"),
        (Bone::LowerLeg, "%_knee"),
        (Bone::Foot, "%_talocrural"),
        (Bone::Toes, "%_metatarsophalangeal_2"),
        (Bone::Shoulder, "%_sternoclavicular"),
        (Bone::UpperArm, "%_shoulder"),
        (Bone::LowerArm, "%_elbow"),
        (Bone::Hand, "%_radiocarpal"),
    ];
    expect(&skeleton, &middle, &limbs, ["l", "r"]);
    assert!(all_are(&skeleton, How::Name));
}

/// The same tree with and without names: the shape must say what the names say.
#[test]
fn without_names_the_tree_says_the_same() {
    let Some(rigs) = support::rigs() else { return };
    let (_, named) = load(&rigs, "trousers/trousers_average_build9.glb");
    let (_, unnamed) = load(&rigs, "encodings/unnamed_joints.glb");
    assert!(
        unnamed
            .joints
            .iter()
            .zip(&unnamed.roles.by_bone)
            .all(|(joint, _)| joint.name.is_empty())
    );
    assert!(all_are(&unnamed, How::Shape), "{:?}", unnamed.roles);
    assert_eq!(named.roles.by_bone.len(), unnamed.roles.by_bone.len());
    for &bone in named.roles.by_bone.keys() {
        let apart = named.position(bone).unwrap() - unnamed.position(bone).unwrap();
        assert!(apart.norm() < 1e-4, "{}", bone.name());
    }
}

#[test]
fn names_stripped_from_a_body_leave_its_roles() {
    let Some(rigs) = support::rigs() else { return };
    for file in [
        "bodies/mhr_body_average.glb",
        "bodies/mhr_body_heavy.glb",
        "synthetic/body.glb",
    ] {
        let (mut rig, named) = load(&rigs, file);
        rig.stated_roles.clear();
        for node in &mut rig.nodes {
            node.name.clear();
        }
        let all: Vec<usize> = (0..rig.meshes.len()).collect();
        let unnamed = Skeleton::new(&rig, &[&assemble(&rig, &all, "surface")], &[]);
        for (bone, (node, _)) in &named.roles.by_bone {
            assert_eq!(unnamed.roles.node(*bone), Some(*node), "{file}: {}", bone.name());
        }
    }
}

#[test]
fn roles_stated_by_the_file_come_first() {
    let Some(rigs) = support::rigs() else { return };
    let (_, stated) = load(&rigs, "bodies/mhr_body_average_vrmhuman.glb");
    let (_, named) = load(&rigs, "bodies/mhr_body_average.glb");
    assert!(all_are(&stated, How::Stated), "{:?}", stated.roles);
    for (bone, (node, _)) in &named.roles.by_bone {
        let name = stated
            .roles
            .node(*bone)
            .map(|node| stated.joints[node].name.as_str());
        assert_eq!(name, Some(named.joints[*node].name.as_str()), "{}", bone.name());
    }
}

#[test]
fn thighs_that_hang_on_the_first_spine_joint() {
    let Some(rigs) = support::rigs() else { return };
    let (_, skeleton) = load(&rigs, "bodies/rocketbox_male_adult_17.glb");
    let middle = [
        (Bone::Hips, "Bip01 Pelvis"),
        (Bone::Spine, "Bip01 Spine1"),
        (Bone::Chest, "Bip01 Spine2"),
        (Bone::Neck, "Bip01 Neck"),
        (Bone::Head, "Bip01 Head"),
    ];
    let limbs: [Limb; 8] = [
        (Bone::UpperLeg, "Bip01 % Thigh"),
        (Bone::LowerLeg, "Bip01 % Calf"),
        (Bone::Foot, "Bip01 % Foot"),
        (Bone::Toes, "Bip01 % Toe0"),
        (Bone::Shoulder, "Bip01 % Clavicle"),
        (Bone::UpperArm, "Bip01 % UpperArm"),
        (Bone::LowerArm, "Bip01 % Forearm"),
        (Bone::Hand, "Bip01 % Hand"),
    ];
    expect(&skeleton, &middle, &limbs, ["L", "R"]);
    // What carries the legs must not bend with the trunk.
    let thigh = skeleton.roles.node(Bone::UpperLeg(Side::Left)).unwrap();
    let carrier = skeleton.joints[thigh].parent.unwrap();
    assert_eq!(skeleton.joints[carrier].name, "Bip01 Spine");
    assert_eq!(skeleton.roles.bone(carrier), None);
}

#[test]
fn separate_skinned_parts_and_toy_proportions() {
    let Some(rigs) = support::rigs() else { return };
    let (_, skeleton) = load(&rigs, "thirdparty/kaykit/Rogue.glb");
    let middle = [
        (Bone::Hips, "hips"),
        (Bone::Spine, "spine"),
        (Bone::Chest, "chest"),
        (Bone::Head, "head"),
    ];
    let limbs: [Limb; 7] = [
        (Bone::UpperLeg, "upperleg.%"),
        (Bone::LowerLeg, "lowerleg.%"),
        (Bone::Foot, "foot.%"),
        (Bone::Toes, "toes.%"),
        (Bone::UpperArm, "upperarm.%"),
        (Bone::LowerArm, "lowerarm.%"),
        (Bone::Hand, "hand.%"),
    ];
    expect(&skeleton, &middle, &limbs, ["l", "r"]);
}

#[test]
fn an_unnamed_body_that_faces_sideways() {
    let Some(rigs) = support::rigs() else { return };
    let (_, skeleton) = load(&rigs, "thirdparty/cesium_man/cesium_man.gltf");
    assert!(all_are(&skeleton, How::Shape));
    // It faces +X, so its left is -Z; legs below the hips, arms above them.
    let at = |bone| skeleton.position(bone).unwrap();
    for (side, sign) in [(Side::Left, -1.0), (Side::Right, 1.0)] {
        let leg = [Bone::UpperLeg(side), Bone::LowerLeg(side), Bone::Foot(side)].map(at);
        assert!(leg.iter().all(|joint| joint.z * sign > 0.02), "{leg:?}");
        assert!(leg[0].y > leg[1].y && leg[1].y > leg[2].y, "{leg:?}");
        assert!(at(Bone::Toes(side)).x > leg[2].x + 0.02);
        let arm = [Bone::UpperArm(side), Bone::LowerArm(side), Bone::Hand(side)].map(at);
        assert!(arm.iter().all(|joint| joint.z * sign > 0.02), "{arm:?}");
        assert!(arm[0].y > at(Bone::Hips).y);
    }
    assert!(at(Bone::Head).y > at(Bone::Neck).y);
}

/// No human: roles may be missing, but none is made up twice and nothing breaks.
#[test]
fn what_is_not_human_is_not_forced() {
    let Some(rigs) = support::rigs() else { return };
    for file in [
        "thirdparty/greenman/greenman.glb",
        "thirdparty/khronos_asset_generator/Animation_Skin/Animation_Skin_00.gltf",
    ] {
        let (_, skeleton) = load(&rigs, file);
        let mut nodes: Vec<usize> = skeleton.roles.by_bone.values().map(|found| found.0).collect();
        nodes.sort_unstable();
        nodes.dedup();
        assert_eq!(nodes.len(), skeleton.roles.by_bone.len(), "{file}");
    }
}
