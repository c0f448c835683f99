//! Which poses does a capture hold? Another wearer's motion, told in anatomical angles and so taken by any body.
//!
//! Roles say which joint is a knee, the source's own rest pose says how its bones lie (DESIGN 4), and what passes over is
//! the angle of each joint as anatomy names it: flexion stays flexion, whatever the source's axes, proportions or rest
//! pose. Where the source goes and how it turns as a whole changes nothing in its clothes, and is left out.

use super::bvh::Bvh;
use super::{Angles, Motion, PoseFrame, clip, effective};
use crate::rig::anatomy::{Anatomy, MissingBone};
use crate::rig::bone::Bone;
use crate::rig::skeleton::Skeleton;
use crate::rig::{Clip, Local, Node, Rig};
use nalgebra::{Matrix4, UnitQuaternion, Vector3};
use std::collections::BTreeMap;

/// A capture is tested at this rate unless told.
pub const RATE_HZ: f64 = 30.0;
/// Least and most that can be told.
pub const RATES_HZ: (f64, f64) = (0.1, 1000.0);
/// Size that a capture in unknown units is given, metres: only ratios and angles of it are used.
const SIZE: f64 = 1.7;

/// Poses of a capture, each with its time.
#[derive(Clone, Debug)]
pub struct Capture {
    /// In order of time.
    pub frames: Vec<PoseFrame>,
    /// How many frames the file has.
    pub of: usize,
    /// How long it lasts, seconds.
    pub length_s: f64,
}

/// The poses of a BVH file at `rate_hz` frames a second or all of them where it has fewer, at most `most`, both ends kept.
///
/// # Errors
/// The bone without which no pose can be read, where its joint is not known by name or by the tree's shape.
pub fn of_bvh(bvh: &Bvh, rate_hz: f64, most: usize) -> Result<Capture, MissingBone> {
    let rig = rig_of(bvh);
    let skeleton = Skeleton::of_nodes(&rig);
    let anatomy = Anatomy::new(&skeleton)?;
    let times: Vec<f64> = (0..bvh.frames())
        .map(|frame| frame as f64 * bvh.frame_s)
        .collect();
    let frames = chosen(&times, rate_hz, most).into_iter().map(|frame| {
        let locals: Vec<Matrix4<f64>> = rig
            .nodes
            .iter()
            .zip(bvh.rotations(frame))
            .map(|(node, turn)| turned(&node.local, turn).matrix())
            .collect();
        pose(&skeleton, &anatomy, &rig.world(&locals), times[frame])
    });
    Ok(Capture {
        frames: frames.collect(),
        of: times.len(),
        length_s: times.last().copied().unwrap_or_default(),
    })
}

/// The poses of a clip of another file, its skeleton as bound there; at its own keys as [`clip::frames`] has them, at most
/// `most`.
pub fn of_clip(rig: &Rig, skeleton: &Skeleton, anatomy: &Anatomy, clip: &Clip, most: usize) -> Capture {
    let times = clip::frames(clip, most);
    let start = times.first().copied().unwrap_or_default();
    let frames = times.iter().map(|&time_s| {
        let world = rig.world(&clip::sample(rig, clip, time_s));
        pose(skeleton, anatomy, &world, time_s - start)
    });
    Capture {
        frames: frames.collect(),
        of: times.len(),
        length_s: times.last().copied().unwrap_or_default() - start,
    }
}

/// Which frames are tested: those nearest to even steps in time.
fn chosen(times: &[f64], rate_hz: f64, most: usize) -> Vec<usize> {
    let Some(last) = times.len().checked_sub(1) else {
        return Vec::new();
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "at most a million"
    )]
    let steps = ((times[last] * rate_hz).round() as usize)
        .min(most.saturating_sub(1))
        .min(last);
    let mut chosen: Vec<usize> = (0..=steps)
        .map(|step| (step * last + steps / 2) / steps.max(1))
        .collect();
    chosen.dedup();
    chosen
}

/// What a source's joints say in anatomical words.
fn pose(skeleton: &Skeleton, anatomy: &Anatomy, world: &[Matrix4<f64>], time_s: f64) -> PoseFrame {
    let mut found: BTreeMap<Bone, BTreeMap<Motion, f64>> = effective::effective(skeleton, anatomy, world);
    found.remove(&Bone::Hips);
    PoseFrame {
        time_s: Some(time_s),
        angles: found
            .into_iter()
            .map(|(bone, angles)| (bone, Angles::Set(angles)))
            .collect(),
    }
}

/// The joints of a BVH file at rest, as nodes of a rig without meshes.
fn rig_of(bvh: &Bvh) -> Rig {
    let mut at: Vec<Vector3<f64>> = Vec::with_capacity(bvh.joints.len());
    for joint in &bvh.joints {
        let parent = joint.parent.map_or_else(Vector3::zeros, |parent| at[parent]);
        at.push(parent + joint.offset);
    }
    let bound = |pick: fn(f64, f64) -> f64, start: f64| {
        at.iter().fold([start; 3], |bound, at| {
            std::array::from_fn(|axis| pick(bound[axis], at[axis]))
        })
    };
    let (low, high) = (bound(f64::min, f64::INFINITY), bound(f64::max, f64::NEG_INFINITY));
    let size = (0..3).map(|axis| high[axis] - low[axis]).fold(1e-9, f64::max);
    let node = |(number, joint): (usize, &super::bvh::Joint)| Node {
        name: joint.name.clone(),
        parent: joint.parent,
        local: Local::Parts {
            translation: joint.offset * (SIZE / size),
            rotation: UnitQuaternion::identity(),
            scale: Vector3::repeat(1.0),
        },
        file_index: number,
    };
    Rig {
        nodes: bvh.joints.iter().enumerate().map(node).collect(),
        ..Rig::default()
    }
}

fn turned(local: &Local, turn: UnitQuaternion<f64>) -> Local {
    match local {
        Local::Parts {
            translation, scale, ..
        } => Local::Parts {
            translation: *translation,
            rotation: turn,
            scale: *scale,
        },
        Local::Matrix(matrix) => Local::Matrix(*matrix),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pose::bvh;
    use crate::rig::bone::Side;

    /// A pair of legs under a trunk, its arms aside; Z is up where `lying`, as some sources have it.
    fn legs(left: [f64; 3], knee: f64, lying: bool) -> Bvh {
        let at = |[x, y, z]: [f64; 3]| {
            if lying {
                format!("OFFSET {x} {} {y}", -z)
            } else {
                format!("OFFSET {x} {y} {z}")
            }
        };
        // Channels about the axes that are X, Y and Z of the wearer.
        let channels = if lying {
            "CHANNELS 3 Xrotation Yrotation Zrotation"
        } else {
            "CHANNELS 3 Xrotation Zrotation Yrotation"
        };
        let joint = |name: &str, offset: [f64; 3], inner: &str| {
            format!("JOINT {name}\n{{\n{}\n{channels}\n{inner}\n}}\n", at(offset))
        };
        let end = |offset| format!("End Site\n{{\n{}\n}}", at(offset));
        let leg = |side: &str, x: f64| {
            let foot = joint(&format!("{side}Foot"), [0.0, -42.0, 0.0], &end([0.0, -5.0, 15.0]));
            let shank = joint(&format!("{side}Leg"), [0.0, -44.0, 0.0], &foot);
            joint(&format!("{side}UpLeg"), [x, 0.0, 0.0], &shank)
        };
        let text = format!(
            "HIERARCHY\nROOT Hips\n{{\n{}\n{channels}\n{}{}{}}}\nMOTION\nFrames: 1\nFrame Time: 0.0333\n",
            at([0.0, 95.0, 0.0]),
            leg("Left", 9.0),
            leg("Right", -9.0),
            joint(
                "Spine",
                [0.0, 15.0, 0.0],
                &joint("Neck", [0.0, 40.0, 0.0], &end([0.0, 20.0, 0.0]))
            )
        );
        let [x, z, y] = left;
        // In the lying file the wearer's Z is minus Y.
        let turn = |x: f64, z: f64, y: f64| {
            if lying {
                format!("{x} {} {y} ", -z)
            } else {
                format!("{x} {z} {y} ")
            }
        };
        let none = turn(0.0, 0.0, 0.0);
        let row = format!(
            "{none}{}{}{}{}",
            turn(x, z, y),
            turn(knee, 0.0, 0.0),
            none.repeat(4),
            none.repeat(2)
        );
        bvh::parse(format!("{text}{row}\n").as_bytes(), "legs.bvh").unwrap()
    }

    fn deg(capture: &Capture, bone: Bone, motion: Motion) -> f64 {
        capture.frames[0].get(bone, motion).unwrap().to_degrees()
    }

    /// Hip flexion is -X, left abduction +Z (ISB order, SOURCES 1.1); the knee flexes by +X.
    #[test]
    fn angles_of_a_written_capture_come_back_whatever_its_axes() {
        let (thigh, shank) = (Bone::UpperLeg(Side::Left), Bone::LowerLeg(Side::Left));
        for lying in [false, true] {
            let capture = of_bvh(&legs([-60.0, 12.0, 0.0], 75.0, lying), 30.0, 600).unwrap();
            for (bone, motion, wanted) in [
                (thigh, Motion::Flexion, 60.0),
                (thigh, Motion::Abduction, 12.0),
                (thigh, Motion::Rotation, 0.0),
                (shank, Motion::Flexion, 75.0),
                (Bone::UpperLeg(Side::Right), Motion::Flexion, 0.0),
            ] {
                let found = deg(&capture, bone, motion);
                assert!(
                    (found - wanted).abs() < 1e-3,
                    "{lying} {bone:?} {motion:?}: {found}, not {wanted}"
                );
            }
            assert!(!capture.frames[0].angles.contains_key(&Bone::Hips));
        }
    }

    #[test]
    fn long_captures_are_thinned_evenly_with_both_ends() {
        let times: Vec<f64> = (0..=1200).map(|frame| f64::from(frame) / 120.0).collect();
        let frames = chosen(&times, 30.0, 600);
        assert_eq!(
            (frames.len(), frames[0], frames[1], frames[300]),
            (301, 0, 4, 1200)
        );
        assert_eq!(chosen(&times, 30.0, 7), [0, 200, 400, 600, 800, 1000, 1200]);
        assert_eq!(chosen(&times[..3], 1000.0, 600), [0, 1, 2]);
        assert_eq!(chosen(&times[..1], 30.0, 600), [0]);
        assert!(chosen(&[], 30.0, 600).is_empty());
    }

    #[test]
    fn a_tree_without_legs_is_said() {
        let text = "HIERARCHY\nROOT box\n{\nOFFSET 0 0 0\nCHANNELS 3 Xrotation Yrotation Zrotation\nEnd Site\n{\nOFFSET 0 1 0\n}\n}\nMOTION\nFrames: 1\nFrame Time: 0.1\n0 0 0\n";
        let bvh = bvh::parse(text.as_bytes(), "box.bvh").unwrap();
        assert_eq!(of_bvh(&bvh, 30.0, 600).unwrap_err(), MissingBone("leftUpperLeg"));
    }
}
