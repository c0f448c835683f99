//! Where do the joints go when a body takes a pose?
//!
//! Poses are absolute: hip abduction 0 puts hip to knee parallel to the pelvis's sagittal plane whether the rig was
//! bound at 0 or at 9 degrees. A joint the pose does not name keeps its bind relation to its parent.

use super::{Motion, PoseFrame};
use crate::rig::anatomy::{Anatomy, HipAngles, hip_rotation, index, sign};
use crate::rig::bone::{Bone, Side};
use crate::rig::skeleton::Skeleton;
use nalgebra::{Matrix4, Rotation3, UnitVector3, Vector3};

pub use super::effective::effective;

/// The bones that share the trunk's bend.
pub(super) const TRUNK: [Bone; 3] = [Bone::Spine, Bone::Chest, Bone::UpperChest];
/// The bones that share the neck's bend.
pub(super) const NECK: [Bone; 2] = [Bone::Neck, Bone::Head];

/// World matrices of all nodes of a body that stands at its bind.
pub fn at_bind(skeleton: &Skeleton) -> Vec<Matrix4<f64>> {
    let still = vec![Rotation3::identity(); skeleton.joints.len()];
    place(skeleton, &still)
}

/// World matrices of all nodes of a body in a pose; metres.
pub fn take(skeleton: &Skeleton, anatomy: &Anatomy, frame: &PoseFrame) -> Vec<Matrix4<f64>> {
    place(skeleton, &turns(skeleton, anatomy, frame))
}

/// Joints from their turns away from the bind: a child hangs on its parent as it did there.
fn place(skeleton: &Skeleton, turns: &[Rotation3<f64>]) -> Vec<Matrix4<f64>> {
    let mut positions: Vec<Vector3<f64>> = Vec::with_capacity(turns.len());
    let mut world = Vec::with_capacity(turns.len());
    for (joint, turn) in skeleton.joints.iter().zip(turns) {
        let position = joint.parent.map_or(joint.position, |parent| {
            positions[parent] + turns[parent] * (joint.position - skeleton.joints[parent].position)
        });
        positions.push(position);
        let linear = (turn * joint.rotation).matrix() * joint.stretch;
        let mut matrix = Matrix4::identity();
        matrix.fixed_view_mut::<3, 3>(0, 0).copy_from(&linear);
        matrix.fixed_view_mut::<3, 1>(0, 3).copy_from(&position);
        world.push(matrix);
    }
    world
}

/// Each node's world rotation away from the bind.
fn turns(skeleton: &Skeleton, anatomy: &Anatomy, frame: &PoseFrame) -> Vec<Rotation3<f64>> {
    let pelvis_turn = in_frame(&anatomy.pelvis, &pelvis_rotation(frame));
    let legs = Side::BOTH.map(|side| leg_turns(anatomy, frame, side, &pelvis_turn));
    let spine = shares(skeleton, &TRUNK);
    let neck = shares(skeleton, &NECK);
    let mut turns: Vec<Rotation3<f64>> = Vec::with_capacity(skeleton.joints.len());
    for (node, joint) in skeleton.joints.iter().enumerate() {
        let inherited = joint
            .parent
            .map_or_else(Rotation3::identity, |parent| turns[parent]);
        let turn = match skeleton.roles.bone(node) {
            Some(Bone::Hips) => pelvis_turn,
            Some(Bone::UpperLeg(side)) => legs[index(side)].thigh.unwrap_or(inherited),
            Some(Bone::LowerLeg(side)) => legs[index(side)].shank.unwrap_or(inherited),
            Some(Bone::Foot(side)) => legs[index(side)].foot.unwrap_or(inherited),
            Some(bone @ (Bone::Spine | Bone::Chest | Bone::UpperChest)) => {
                inherited * shared_bend(anatomy, frame, Bone::Spine, &spine, bone)
            }
            Some(bone @ (Bone::Neck | Bone::Head)) => {
                inherited * shared_bend(anatomy, frame, Bone::Neck, &neck, bone)
            }
            Some(Bone::UpperArm(side)) => {
                let trunk = trunk_turn(skeleton, &turns, node);
                upper_arm_turn(anatomy, frame, side).map_or(inherited, |turn| trunk * turn)
            }
            Some(bone @ (Bone::LowerArm(side) | Bone::Hand(side))) => {
                inherited * fore_arm_turn(anatomy, frame, side, bone)
            }
            _ => inherited,
        };
        turns.push(turn);
    }
    turns
}

/// A rotation given in a frame's own axes, in the world's.
fn in_frame(frame: &Rotation3<f64>, rotation: &Rotation3<f64>) -> Rotation3<f64> {
    frame * rotation * frame.inverse()
}

pub(super) fn about(axis: Vector3<f64>, angle: f64) -> Rotation3<f64> {
    Rotation3::from_axis_angle(&UnitVector3::new_normalize(axis), angle)
}

fn pelvis_rotation(frame: &PoseFrame) -> Rotation3<f64> {
    let angle = |motion| frame.get(Bone::Hips, motion).unwrap_or(0.0);
    about(Vector3::x(), angle(Motion::Tilt))
        * about(Vector3::z(), angle(Motion::Obliquity))
        * about(Vector3::y(), angle(Motion::Rotation))
}

struct LegTurns {
    thigh: Option<Rotation3<f64>>,
    shank: Option<Rotation3<f64>>,
    foot: Option<Rotation3<f64>>,
}

/// A leg is placed as a whole from the pelvis, since knee and ankle turn about the thigh's X.
fn leg_turns(anatomy: &Anatomy, frame: &PoseFrame, side: Side, pelvis_turn: &Rotation3<f64>) -> LegTurns {
    let leg = &anatomy.legs[index(side)];
    let named = |bone| frame.angles.contains_key(&bone);
    let thigh_named = frame.get(Bone::UpperLeg(side), Motion::Flexion).is_some();
    let thigh_now = match hip_of(frame, side) {
        Some(angles) => pelvis_turn * anatomy.pelvis * hip_rotation(side, &angles),
        None => pelvis_turn * leg.thigh,
    };
    let from_bind = leg.thigh.inverse();
    let knee = frame
        .get(Bone::LowerLeg(side), Motion::Flexion)
        .map_or(0.0, |flexion| flexion - anatomy.knee_at_bind(side));
    let shank_turn = thigh_now * about(Vector3::x(), knee) * from_bind;
    let ankle = frame.get(Bone::Foot(side), Motion::Flexion).unwrap_or(0.0);
    let foot_turn = thigh_now * about(Vector3::x(), knee - ankle) * from_bind;
    LegTurns {
        thigh: thigh_named.then(|| thigh_now * from_bind),
        shank: named(Bone::LowerLeg(side)).then_some(shank_turn),
        foot: named(Bone::Foot(side)).then_some(foot_turn),
    }
}

fn hip_of(frame: &PoseFrame, side: Side) -> Option<HipAngles> {
    let bone = Bone::UpperLeg(side);
    Some(HipAngles {
        flexion: frame.get(bone, Motion::Flexion)?,
        abduction: frame.get(bone, Motion::Abduction)?,
        rotation: frame.get(bone, Motion::Rotation)?,
    })
}

/// The bones of a group that the rig has.
pub(super) fn shares(skeleton: &Skeleton, bones: &[Bone]) -> Vec<Bone> {
    bones
        .iter()
        .copied()
        .filter(|&bone| skeleton.roles.node(bone).is_some())
        .collect()
}

/// One bone's equal share of the bend of its group, in the pelvis's axes at the bind.
fn shared_bend(
    anatomy: &Anatomy,
    frame: &PoseFrame,
    key: Bone,
    group: &[Bone],
    bone: Bone,
) -> Rotation3<f64> {
    if !group.contains(&bone) {
        return Rotation3::identity();
    }
    let share = 1.0 / f64::from(u32::try_from(group.len()).unwrap_or(1));
    let angle = |motion| share * frame.get(key, motion).unwrap_or(0.0);
    let bend = about(Vector3::x(), angle(Motion::Flexion))
        * about(Vector3::z(), -angle(Motion::Bend))
        * about(Vector3::y(), angle(Motion::Rotation));
    in_frame(&anatomy.pelvis, &bend)
}

/// The turn of the highest trunk bone above an arm: collar bones keep their bind on it.
fn trunk_turn(skeleton: &Skeleton, turns: &[Rotation3<f64>], node: usize) -> Rotation3<f64> {
    trunk_above(skeleton, node).map_or_else(Rotation3::identity, |at| turns[at])
}

/// The highest trunk bone above an arm's node.
pub(super) fn trunk_above(skeleton: &Skeleton, node: usize) -> Option<usize> {
    std::iter::successors(skeleton.joints[node].parent, |&at| skeleton.joints[at].parent)
        .find(|&at| !matches!(skeleton.roles.bone(at), None | Some(Bone::Shoulder(_))))
}

/// The swing that carries the hanging arm to where it shall be, less the one that brought it to its bind.
fn upper_arm_turn(anatomy: &Anatomy, frame: &PoseFrame, side: Side) -> Option<Rotation3<f64>> {
    let bone = Bone::UpperArm(side);
    let arm = anatomy.arms[index(side)].as_ref()?;
    let plane = frame.get(bone, Motion::Plane)?;
    let elevation = frame.get(bone, Motion::Elevation)?;
    let rotation = frame.get(bone, Motion::Rotation)?;
    let s = sign(side);
    let asked = about(Vector3::y(), -s * plane)
        * about(Vector3::z(), s * elevation)
        * about(Vector3::y(), s * (plane + rotation));
    let at_bind = swing_from_hanging(&(anatomy.pelvis.inverse() * arm.upper));
    Some(in_frame(&anatomy.pelvis, &(asked * at_bind.inverse())))
}

/// The shortest rotation from straight down to a direction.
pub(super) fn swing_from_hanging(direction: &Vector3<f64>) -> Rotation3<f64> {
    Rotation3::rotation_between(&-Vector3::y(), direction)
        .unwrap_or_else(|| about(Vector3::z(), std::f64::consts::PI))
}

fn fore_arm_turn(anatomy: &Anatomy, frame: &PoseFrame, side: Side, bone: Bone) -> Rotation3<f64> {
    let (Some(arm), Some(flexion)) = (&anatomy.arms[index(side)], frame.get(bone, Motion::Flexion)) else {
        return Rotation3::identity();
    };
    let at_bind = if matches!(bone, Bone::LowerArm(_)) {
        arm.elbow_at_bind
    } else {
        0.0
    };
    about(arm.elbow_axis, flexion - at_bind)
}
