//! Which anatomical angles does a body really have? The inverse of `stand`, read from joint matrices, so that a clip
//! or a motion capture is told in the same words as a pose.

use super::stand::{NECK, TRUNK, about, shares, swing_from_hanging, trunk_above};
use super::{Joint, Motion};
use crate::rig::anatomy::{Anatomy, Arm, HipAngles, Leg, hip_angles, index, knee_flexion, sign};
use crate::rig::bone::{Bone, Side};
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::polar;
use nalgebra::{Matrix4, Rotation3, Vector3};
use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

/// Angles of one joint, radians.
type Found = BTreeMap<Motion, f64>;

/// The anatomical angles a body really has, radians: by bone as in [`super::PoseFrame::angles`], by motion. A bone the
/// rig lacks is not in it. An arm that hangs or stands straight has plane 0, and elevation is never negative: an arm
/// swung back is at plane -90.
pub fn effective(
    skeleton: &Skeleton,
    anatomy: &Anatomy,
    world: &[Matrix4<f64>],
) -> BTreeMap<Bone, BTreeMap<Motion, f64>> {
    let now = Now {
        skeleton,
        anatomy,
        world,
    };
    let mut found = BTreeMap::new();
    if now.turn(Bone::Hips).is_some() {
        found.insert(Bone::Hips, now.pelvis());
    }
    found.extend(now.bend(Bone::Spine, &TRUNK));
    found.extend(now.bend(Bone::Neck, &NECK));
    for side in Side::BOTH {
        now.leg(side, &mut found);
        now.arm(side, &mut found);
    }
    found
}

/// A body as it stands.
struct Now<'a> {
    skeleton: &'a Skeleton,
    anatomy: &'a Anatomy,
    world: &'a [Matrix4<f64>],
}

impl Now<'_> {
    /// A node's rotation away from the bind, in the world.
    fn turn_of(&self, node: usize) -> Rotation3<f64> {
        polar(&self.world[node]).0 * self.skeleton.joints[node].rotation.inverse()
    }

    fn turn(&self, bone: Bone) -> Option<Rotation3<f64>> {
        self.skeleton.roles.node(bone).map(|node| self.turn_of(node))
    }

    fn pelvis_turn(&self) -> Rotation3<f64> {
        self.turn(Bone::Hips).unwrap_or_else(Rotation3::identity)
    }

    /// A world rotation in the pelvis's own axes at the bind.
    fn in_pelvis(&self, rotation: &Rotation3<f64>) -> Rotation3<f64> {
        self.anatomy.pelvis.inverse() * rotation * self.anatomy.pelvis
    }

    fn pelvis(&self) -> Found {
        let three = middle_angles(&self.in_pelvis(&self.pelvis_turn()));
        Joint::Pelvis.motions().iter().copied().zip(three).collect()
    }

    /// The bend of a group is the sum of its bones' shares, each against the bone of the group below it.
    fn bend(&self, key: Bone, group: &[Bone]) -> Option<(Bone, Found)> {
        let joint = Joint::of(key)?;
        let mut below = match key {
            Bone::Neck => shares(self.skeleton, &TRUNK)
                .last()
                .and_then(|&bone| self.turn(bone)),
            _ => None,
        }
        .unwrap_or_else(|| self.pelvis_turn());
        let bones = shares(self.skeleton, group);
        let mut sum = [0.0; 3];
        for turn in bones.iter().filter_map(|&bone| self.turn(bone)) {
            let [flexion, lean, rotation] = middle_angles(&self.in_pelvis(&(below.inverse() * turn)));
            sum = [sum[0] + flexion, sum[1] - lean, sum[2] + rotation];
            below = turn;
        }
        (!bones.is_empty()).then(|| (key, joint.motions().iter().copied().zip(sum).collect()))
    }

    fn leg(&self, side: Side, found: &mut BTreeMap<Bone, Found>) {
        let leg = &self.anatomy.legs[index(side)];
        let Some(thigh_turn) = self.turn(Bone::UpperLeg(side)) else {
            return;
        };
        let pelvis_now = self.pelvis_turn() * self.anatomy.pelvis;
        let thigh_now = thigh_turn * leg.thigh;
        let hip = hip_angles(side, &(pelvis_now.inverse() * thigh_now));
        let hip = [hip.flexion, hip.abduction, hip.rotation];
        let motions = Joint::Hip.motions().iter().copied();
        found.insert(Bone::UpperLeg(side), motions.zip(hip).collect());
        let Some(shank_turn) = self.turn(Bone::LowerLeg(side)) else {
            return;
        };
        if let Some(shank) = leg.shank {
            let shank_now = thigh_now.inverse() * (shank_turn * (leg.thigh * shank));
            found.insert(Bone::LowerLeg(side), flexion(knee_flexion(&shank_now)));
        }
        if let Some(foot_turn) = self.turn(Bone::Foot(side)) {
            found.insert(Bone::Foot(side), flexion(ankle(leg, &shank_turn, &foot_turn)));
        }
    }

    fn arm(&self, side: Side, found: &mut BTreeMap<Bone, Found>) {
        let (Some(arm), Some(node)) = (
            &self.anatomy.arms[index(side)],
            self.skeleton.roles.node(Bone::UpperArm(side)),
        ) else {
            return;
        };
        let upper_turn = self.turn_of(node);
        let trunk =
            trunk_above(self.skeleton, node).map_or_else(Rotation3::identity, |above| self.turn_of(above));
        let at_bind = swing_from_hanging(&(self.anatomy.pelvis.inverse() * arm.upper));
        let swing = self.in_pelvis(&(trunk.inverse() * upper_turn)) * at_bind;
        let motions = Joint::Shoulder.motions().iter().copied();
        found.insert(
            Bone::UpperArm(side),
            motions.zip(shoulder(side, &swing)).collect(),
        );
        let Some(fore_turn) = self.turn(Bone::LowerArm(side)) else {
            return;
        };
        if let Some(fore) = arm.fore {
            let fore = upper_turn.inverse() * (fore_turn * fore);
            found.insert(Bone::LowerArm(side), flexion(about_elbow(arm, &fore)));
        }
        if let Some(hand_turn) = self.turn(Bone::Hand(side)) {
            let upper = fore_turn.inverse() * (hand_turn * arm.upper);
            found.insert(Bone::Hand(side), flexion(about_elbow(arm, &upper)));
        }
    }
}

fn flexion(angle: f64) -> Found {
    BTreeMap::from([(Motion::Flexion, angle)])
}

/// The three angles of `Rx(a) Rz(b) Ry(c)`.
fn middle_angles(rotation: &Rotation3<f64>) -> [f64; 3] {
    // The left hip's order and signs, but for the first.
    let HipAngles {
        flexion,
        abduction,
        rotation,
    } = hip_angles(Side::Left, rotation);
    [-flexion, abduction, rotation]
}

/// How far the foot turned about the thigh's X against the shank, toes up positive.
fn ankle(leg: &Leg, shank_turn: &Rotation3<f64>, foot_turn: &Rotation3<f64>) -> f64 {
    let foot = leg.thigh.inverse() * shank_turn.inverse() * foot_turn * leg.thigh * Vector3::z();
    foot.y.atan2(foot.z)
}

/// Angle from the upper arm's direction at the bind to another about the elbow's axis.
fn about_elbow(arm: &Arm, direction: &Vector3<f64>) -> f64 {
    let sine = arm.upper.cross(direction).dot(&arm.elbow_axis);
    sine.atan2(arm.upper.dot(direction))
}

/// Plane, elevation and rotation of `Ry(-plane) Rz(elevation) Ry(plane + rotation)`, mirrored on the right.
fn shoulder(side: Side, swing: &Rotation3<f64>) -> [f64; 3] {
    // Straight down or up, an arm is in no plane.
    const STRAIGHT: f64 = 1e-6;
    let s = sign(side);
    let arm = swing * -Vector3::y();
    let level = arm.x.hypot(arm.z);
    let elevation = level.atan2(-arm.y);
    let plane = if level > STRAIGHT {
        arm.z.atan2(s * arm.x)
    } else {
        0.0
    };
    let raised = about(Vector3::y(), -s * plane) * about(Vector3::z(), s * elevation);
    let front = raised.inverse() * swing * Vector3::z();
    let about_itself = s * front.x.atan2(front.z) - plane;
    [
        plane,
        elevation,
        about_itself - TAU * ((about_itself + PI) / TAU).floor(),
    ]
}
